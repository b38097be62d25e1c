"""Units people type to SI and back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.errors import NoReference, SettingsError
from lossmap.base.field import ROLES
from lossmap.base.units import factor, grain_price, quantity, same_kind

# spellings met in logs and count sheets, by the SI unit they measure
SPELLINGS = {
    "m": ("ft", "feet", "in", "inches", "cm", "mm", "yd", "mi", "km", "metres", "meters"),
    "m/s": ("mph", "km/h", "kph", "kmh", "kn", "knots", "ft/s", "mi/h", "ft per sec"),
    "kg/s": ("lb/s", "lbs/sec", "t/h", "kg/h", "mg/s", "g/s"),
    "kg/ha": ("lb/ac", "t/ha", "q/ha", "kg/ac", "cwt/ac", "g/m2", "lb/acre"),
    "m2": ("ft2", "sq ft", "ft^2", "ft²", "in2", "ac", "ha", "acres"),
    "percent": ("%", "pct", "fraction", "ppm", "points"),
    "s": ("ms", "min", "h", "sec"),
    "g": ("kg", "mg", "lb", "grams"),
    "deg": ("°", "degrees", "radian"),
}
PAIRS = [(unit, si) for si, units in SPELLINGS.items() for unit in units]


@pytest.mark.parametrize(("unit", "si"), PAIRS)
def test_there_and_back_is_one(unit: str, si: str) -> None:
    """A unit to SI and SI to the unit cancel."""
    assert factor(unit, si) * factor(si, unit) == pytest.approx(1, rel=1e-12)


@given(
    number=st.floats(min_value=1e-6, max_value=1e6),
    pair=st.sampled_from([pair for pair in PAIRS if pair[0].isascii() and pair[0] != "points"]),
)
def test_quantities_round_trip(number: float, pair: tuple[str, str]) -> None:
    """A number written with a unit is read as that many of it."""
    unit, si = pair
    assert quantity(f"{number!r} {unit}", si) * factor(si, unit) == pytest.approx(number, rel=1e-9)


@given(st.floats(min_value=10, max_value=100), st.floats(min_value=0.01, max_value=1e4))
def test_bushels_go_by_weight(bushel_lb: float, bu_ac: float) -> None:
    """bu/ac to kg/ha is lb/ac at so many pounds a bushel, and back."""
    kg_ha = bu_ac * factor("bu/ac", "kg/ha", bushel_lb)
    assert kg_ha == pytest.approx(bu_ac * bushel_lb * factor("lb/ac", "kg/ha"), rel=1e-12)
    assert kg_ha * factor("kg/ha", "bu/ac", bushel_lb) == pytest.approx(bu_ac, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "to", "exact"),
    [
        ("ft", "m", 0.3048),
        ("lb", "kg", 0.45359237),
        ("mph", "m/s", 0.44704),
        ("ac", "m2", 4046.8564224),
        ("kn", "m/s", 1852 / 3600),
        ("deg", "radian", math.pi / 180),
        ("fraction", "%", 100),
        ("ppm", "%", 1e-4),
        ("q/ha", "kg/ha", 100),
        ("cwt", "lb", 100),
    ],
)
def test_definitions(unit: str, to: str, exact: float) -> None:
    """The factors that are exact by definition are exact here."""
    assert factor(unit, to) == pytest.approx(exact, rel=1e-14)


@pytest.mark.parametrize("spelling", ["Bu/Ac", "BU/AC", "bu/acre", "bu per ac", "bushels/acre"])
def test_spelling_of_case_and_words(spelling: str) -> None:
    """Case and the long words make no difference."""
    assert factor(spelling, "bu/ac") == pytest.approx(1)


def test_every_role_has_a_unit_that_is_known() -> None:
    """The SI unit of each role of a points file is one of the registry."""
    assert all(factor(unit, unit) == pytest.approx(1) for unit in ROLES.values() if unit)


@pytest.mark.parametrize(
    ("unit", "to", "message"),
    [
        ("furlong", "m", '"furlong" is not a unit lossmap knows'),
        ("ft", "kg", '"ft" cannot be turned into kg'),
        ("bu/ac", "kg/ha", '"bu/ac" needs a crop that is sold by the bushel'),
        ("bu", "m", '"bu" cannot be turned into m'),
        ("__import__('os')", "m", "\"__import__('os')\" is not a unit lossmap knows"),
        ("m**9", "m", '"m**9" is not a unit lossmap knows'),
        ("m" * 41, "m", f'"{"m" * 41}" is not a unit lossmap knows'),
    ],
)
def test_units_that_cannot_be_are_refused(unit: str, to: str, message: str) -> None:
    """What is not known, measures something else or needs a crop is said in words; nothing is run."""
    with pytest.raises(NoReference) as refusal:
        factor(unit, to)
    assert str(refusal.value) == message
    assert not same_kind(unit, to)


@given(st.text(max_size=60))
def test_no_text_breaks_the_reader(text: str) -> None:
    """Any text is a unit or refused as one; no other error gets out."""
    assert same_kind(text, "m") in (True, False)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("40", '"40" is not a number with a unit; write for example "30 ft"'),
        ("ft", '"ft" is not a number with a unit; write for example "30 ft"'),
        ("nan ft", '"nan ft" is not a number with a unit; write for example "30 ft"'),
        (40, '40 is not a number with a unit; write for example "30 ft"'),
        (True, 'True is not a number with a unit; write for example "30 ft"'),
        (None, 'None is not a number with a unit; write for example "30 ft"'),
        ("4 s", '"s" cannot be turned into m; write for example "30 ft"'),
        ("4 furlongs", '"furlongs" is not a unit lossmap knows; write for example "30 ft"'),
    ],
)
def test_quantities_without_unit_are_refused(text: object, message: str) -> None:
    """A bare number, a bare unit, or a unit of another kind is refused with an example to copy."""
    with pytest.raises(SettingsError) as refusal:
        quantity(text, "m")
    assert str(refusal.value) == message


@pytest.mark.parametrize("text", ["0 USD/bu", "-4 USD/bu", "1e999 USD/bu", "9000 USD/bu"])
def test_what_no_grain_costs(text: str) -> None:
    """Nothing, less than nothing and a fortune are no prices."""
    assert grain_price("4.20 USD/bu", 56.0) == pytest.approx(0.16535, abs=1e-5)
    with pytest.raises(SettingsError, match="is no price of grain"):
        grain_price(text, 56.0)
