"""Choices of a run: typed with their unit, limited, refused with all faults in one message."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Annotated, Any

import pydantic
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.errors import SettingsError
from lossmap.base.settings import Metres, MetresPerSecond, Percent, Settings, Strict, Typed, as_toml, build, merged, overridden


class Gate(Strict):
    """A model of our own, so that the words below do not hang on what settings there are."""

    width: Metres = pydantic.Field("12 ft", ge=1, le=30)
    swing: Annotated[float, Typed("deg")] | None = None
    bars: int = pydantic.Field(5, ge=1)


class Fence(Strict):
    """One level above."""

    name: str
    gate: Gate = Gate()
    gates: tuple[Gate, ...] = ()


def _refused(values: dict[str, Any]) -> str:
    with pytest.raises(SettingsError) as refusal:
        build(Fence, {"name": "north"} | values, "farm/fence.toml")
    return str(refusal.value)


def test_quantities_become_si() -> None:
    """What is typed with a unit is kept in SI, defaults too."""
    fence = build(Fence, {"name": "north", "gate": {"swing": "0.5 radian"}, "gates": [{"width": "3 m"}]}, "fence.toml")
    assert fence.gate.width == pytest.approx(3.6576)
    assert fence.gate.swing == pytest.approx(28.6479, abs=1e-4)
    assert fence.gates[0].width == 3


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"gate": {"widht": "3 m"}}, "farm/fence.toml: gate.widht: no such key; did you mean width?"),
        ({"gate": {"zz": 1}}, "farm/fence.toml: gate.zz: no such key; known: bars, swing, width"),
        ({"gats": []}, "farm/fence.toml: gats: no such key; did you mean gates?"),
        ({"gates": [{}, {"bras": 3}]}, "farm/fence.toml: gates[2].bras: no such key; did you mean bars?"),
        ({"gate": {"width": 3}}, 'farm/fence.toml: gate.width: 3 is not a number with a unit; write for example "30 ft"'),
        ({"gate": {"width": "3 s"}}, 'farm/fence.toml: gate.width: "s" cannot be turned into m; write for example "30 ft"'),
        ({"gate": {"bars": 0}}, "farm/fence.toml: gate.bars: must be at least 1 (is 0)"),
        ({"gate": {"bars": True}}, "farm/fence.toml: gate.bars: must be a whole number (is true)"),
    ],
)
def test_each_fault_in_exact_words(values: dict[str, Any], message: str) -> None:
    """File, dotted key, what was found, what to do; near names are offered."""
    assert _refused(values) == message


def test_a_key_that_is_needed_is_asked_for() -> None:
    """A missing fact is named."""
    with pytest.raises(SettingsError) as refusal:
        build(Fence, {}, "farm/fence.toml")
    assert str(refusal.value) == "farm/fence.toml: name: is missing; add it"


def test_all_faults_stand_in_one_message() -> None:
    """One line a fault, each with its place."""
    lines = _refused({"gate": {"bars": 0, "widht": "3 m"}, "gats": 1}).splitlines()
    assert len(lines) == 3
    assert all(line.startswith("farm/fence.toml: ") for line in lines)


def test_what_a_file_holds_is_cut_short() -> None:
    """A long or odd value in a message stays on its line."""
    message = _refused({"gate": {"width": "x\n\x1b[31m" * 400}})
    assert "\n" not in message
    assert len(message) < 200


def test_settings_are_frozen() -> None:
    """Nobody changes a setting under way."""
    with pytest.raises(pydantic.ValidationError):
        Settings().rng_seed = 2  # type: ignore[misc]


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


def test_the_listing_is_a_file_a_run_reads() -> None:
    """`as_toml` holds every setting, and read back gives the defaults."""
    text = as_toml()
    assert build(Settings, tomllib.loads(text), "settings.toml") == Settings()
    for key, _ in _entries():
        assert re.search(rf"^(# )?{key.rsplit('.', 1)[-1]} = ", text, flags=re.MULTILINE), key


def test_set_lays_over_the_file() -> None:
    """The last --set wins over earlier ones and over the file; what it does not name stays."""
    values = {"gate": {"bars": 4, "width": "3 m"}, "name": "north"}
    over = overridden(values, ['gate.width="4 m"', "gate.bars=6", "gate.bars=7", "name=south"])
    assert over == {"gate": {"bars": 7, "width": "4 m"}, "name": "south"}
    assert values == {"gate": {"bars": 4, "width": "3 m"}, "name": "north"}


@pytest.mark.parametrize("assignment", ["grid.cell", "=3", ""])
def test_set_without_key_or_value_is_refused(assignment: str) -> None:
    """Said with an example to copy."""
    with pytest.raises(SettingsError) as refusal:
        overridden({}, [assignment])
    assert str(refusal.value) == f'--set {assignment}: is not KEY=VALUE; write for example --set grid.cell="10 m"'


leaves = st.one_of(st.integers(), st.text(max_size=5))
keys = st.sampled_from("abc")
trees = st.recursive(st.dictionaries(keys, leaves, max_size=3), lambda inner: st.dictionaries(keys, inner, max_size=3))


@given(below=trees, above=trees)
def test_merging_is_a_law(below: dict[str, Any], above: dict[str, Any]) -> None:
    """Nothing laid over is nothing, over itself is itself, and every leaf above shows."""
    assert merged(below, {}) == below == merged(below, below)
    assert merged(merged(below, above), above) == merged(below, above)
    assert set(merged(below, above)) == set(below) | set(above)


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


def test_types_of_quantities_are_what_their_names_say() -> None:
    """A speed typed in mph is m/s, a share typed as a fraction is per cent."""

    class Cart(Strict):
        pace: MetresPerSecond
        full: Percent

    cart = build(Cart, {"pace": "10 mph", "full": "0.5 fraction"}, "cart.toml")
    assert cart.pace == pytest.approx(4.4704)
    assert cart.full == pytest.approx(50)


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
