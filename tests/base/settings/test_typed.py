"""Quantities typed with their unit become SI; what is set is frozen."""

from __future__ import annotations

import datetime

import pydantic
import pytest
from base.settings.fence import Fence

from lossmap.base.errors import SettingsError
from lossmap.base.settings import Day, MetresPerSecond, Percent, Settings, Strict, build


def test_quantities_become_si() -> None:
    """What is typed with a unit is kept in SI, defaults too."""
    fence = build(Fence, {"name": "north", "gate": {"swing": "0.5 radian"}, "gates": [{"width": "3 m"}]}, "fence.toml")
    assert fence.gate.width == pytest.approx(3.6576)
    assert fence.gate.swing == pytest.approx(28.6479, abs=1e-4)
    assert fence.gates[0].width == 3


def test_types_of_quantities_are_what_their_names_say() -> None:
    """A speed typed in mph is m/s, a share typed as a fraction is per cent."""

    class Cart(Strict):
        pace: MetresPerSecond
        full: Percent

    cart = build(Cart, {"pace": "10 mph", "full": "0.5 fraction"}, "cart.toml")
    assert cart.pace == pytest.approx(4.4704)
    assert cart.full == pytest.approx(50)


def test_settings_are_frozen() -> None:
    """Nobody changes a setting under way."""
    with pytest.raises(pydantic.ValidationError):
        Settings().rng_seed = 2  # type: ignore[misc]


class Visit(Strict):
    """One day."""

    on: Day


@pytest.mark.parametrize("typed", ["2025-10-18", datetime.date(2025, 10, 18)])
def test_a_day_is_a_day(typed):
    """As TOML has it, or as a text in quotes."""
    assert build(Visit, {"on": typed}, "a.toml").on == datetime.date(2025, 10, 18)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        (1_760_000_000, "1760000000 is not a day; write 2025-10-18"),
        ("18.10.2025", "'18.10.2025' is not a day; write 2025-10-18"),
        ("0025-10-18", "0025-10-18 is no day of a harvest (1990 to 2100); correct it"),
    ],
)
def test_what_is_no_day_of_a_harvest_is_refused(typed, message):
    """A number of seconds, another spelling and a year of two digits are told apart from days."""
    with pytest.raises(SettingsError) as refusal:
        build(Visit, {"on": typed}, "a.toml")
    assert str(refusal.value) == f"a.toml: on: {message}"
