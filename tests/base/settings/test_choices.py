"""Every setting there is: a reason, limits, and the few rules of their own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pydantic
import pytest

from lossmap.base.errors import SettingsError
from lossmap.base.settings import Settings, Strict, build


def _entries(model: type[pydantic.BaseModel] = Settings, path: str = "") -> Iterator[tuple[str, Any]]:
    for name, entry in model.model_fields.items():
        if isinstance(entry.annotation, type) and issubclass(entry.annotation, Strict):
            yield from _entries(entry.annotation, f"{path}{name}.")
        else:
            yield path + name, entry


@pytest.mark.parametrize(("key", "entry"), list(_entries()), ids=[key for key, _ in _entries()])
def test_every_setting_says_why(key: str, entry: Any) -> None:
    """Each has a reason of its own."""
    assert entry.description, key
    assert len(entry.description) > 15


@pytest.mark.parametrize(("key", "entry"), list(_entries()), ids=[key for key, _ in _entries()])
def test_every_number_has_limits(key: str, entry: Any) -> None:
    """A number that is set by default is bounded on both sides."""
    if entry.default is None or entry.annotation not in (int, float):
        return
    assert {"ge", "gt"} & _bounds(entry), key
    assert {"le", "lt"} & _bounds(entry), key


def _bounds(entry: Any) -> set[str]:
    return {name for rule in entry.metadata for name in ("ge", "gt", "le", "lt") if hasattr(rule, name)}


def test_the_value_of_an_hour_is_money_by_time() -> None:
    """Dollars an hour in any spelling; a bare number or a price is refused with an example."""
    assert build(Settings, {"report": {"hour_value": "5 USD/min"}}, "a.toml").report.hour_value == pytest.approx(300)
    assert Settings().report.hour_value is None
    assert Settings().report.field_efficiency == 70
    with pytest.raises(SettingsError) as refusal:
        build(Settings, {"report": {"hour_value": "300 USD/t"}}, "a.toml")
    assert str(refusal.value) == 'a.toml: report.hour_value: "USD/t" cannot be turned into USD/h; write for example "300 USD/h"'
    with pytest.raises(SettingsError) as refusal:
        build(Settings, {"report": {"field_efficiency": "120 %"}}, "a.toml")
    assert str(refusal.value) == "a.toml: report.field_efficiency: must be 10 to 100 % (is 120 %)"


@pytest.mark.parametrize(
    "address",
    [
        "http://tiles.example.org/{z}/{x}/{y}.png",
        "https://{s}.tiles.example.org/{z}/{x}/{y}.png",
        "https://tiles.example.org/{z}/{x}.png",
        "https://tiles.example.org/{z}/{x}/{y}/{y}.png",
        "https://tiles.example.org; script-src */{z}/{x}/{y}.png",
        "https://tiles.example.org/{z}/{x}/{y}.png'\"><script>",
        "https://user@tiles.example.org/{z}/{x}/{y}.png",
    ],
)
def test_a_basemap_is_one_named_server(address):
    """Plain http, several hosts, a missing or doubled part and signs that end a text are refused, with an example."""
    with pytest.raises(SettingsError) as refusal:
        build(Settings, {"report": {"basemap": address}}, "a.toml")
    assert str(refusal.value).startswith('a.toml: report.basemap: "http')
    assert 'write for example "https://tiles.example.org/{z}/{x}/{y}.png", with {z}, {x} and {y} once each' in str(refusal.value)


def test_no_basemap_unless_given():
    """Off by default; a good address is kept as it is."""
    assert Settings().report.basemap is None
    address = "https://tiles.example.org:8443/wms/{z}/{y}/{x}.png?key=a-b_1"
    assert build(Settings, {"report": {"basemap": address}}, "a.toml").report.basemap == address
