"""Numbers as people read them."""

from __future__ import annotations

import datetime
import math
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.report.money import price_usd_kg
from lossmap.report.words import Scale, Words, day_of, plain, short_day

CORN, SUNFLOWER = reference.crop("corn"), reference.crop("sunflower")


def test_loss_of_a_bushel_crop_speaks_bushels() -> None:
    """62.768 kg/ha of corn is one bushel an acre."""
    assert Words(CORN, "us").loss.text(62.768 * 1.6) == "1.6 bu/ac"


def test_loss_of_a_crop_without_bushel_speaks_pounds() -> None:
    """1.120851 kg/ha is one pound an acre."""
    assert Words(SUNFLOWER, "us").loss.text(1.120851 * 42) == "42 lb/ac"


def test_metric_speaks_kilograms_and_tonnes() -> None:
    """Loss in kg/ha, yield in t/ha, speed in km/h, area in ha."""
    words = Words(CORN, "metric")
    assert (words.loss.text(118.4), words.harvest.text(11_050), words.speed.text(1.5), words.area.text(20.2)) == (
        "118 kg/ha",
        "11.1 t/ha",
        "5.4 km/h",
        "20.2 ha",
    )


def test_us_speaks_miles_acres_and_feet() -> None:
    """Published factors: 1 mph = 0.44704 m/s, 1 ha = 2.47105 ac, 1 m = 3.28084 ft."""
    words = Words(CORN, "us")
    assert (words.speed.text(0.44704 * 5.3), words.area.text(20.0), words.length.text(100.0)) == ("5.3 mph", "49.4 ac", "328 ft")


def test_texts_of_the_tables_are_told_in_one_system() -> None:
    """Each quantity that stands twice stands once, and all else is letter for letter as it was."""
    text = "Its axle {6 to 12 in|15 to 30 cm} ahead, {1/32 in|0.8 mm} off; 1.1 to 1.25 times {as given}."
    assert Words(CORN, "us").told(text) == "Its axle 6 to 12 in ahead, 1/32 in off; 1.1 to 1.25 times {as given}."
    assert Words(CORN, "metric").told(text) == "Its axle 15 to 30 cm ahead, 0.8 mm off; 1.1 to 1.25 times {as given}."


@pytest.mark.parametrize(("crop", "units"), [(CORN, "us"), (CORN, "metric"), (SUNFLOWER, "us"), (SUNFLOWER, "metric")])
def test_the_example_of_a_price_is_one(crop: reference.Crop, units: Literal["us", "metric"]) -> None:
    """What a page proposes to type is read, and metric pages propose no bushels."""
    example = Words(crop, units).price_example
    assert 0.05 < price_usd_kg(example, crop) < 1
    assert ("bu" in example or "lb" in example) == (units == "us")


def test_grain_together_is_told_in_what_it_is_sold_in() -> None:
    """25.4012 kg of corn is a bushel, 0.45359 kg a pound; metric in tonnes. Roughness has a decimal more than yield."""
    assert Words(CORN, "us").grain.text(25.4012 * 9_876) == "9,876 bu"
    assert Words(SUNFLOWER, "us").grain.text(0.45359237 * 54_321) == "54,321 lb"
    assert Words(CORN, "metric").grain.text(248_000) == "248 t"
    assert Words(CORN, "metric").grain.text(346.0) == "0.35 t"
    assert (Words(CORN, "us").roughness.text(62.768 * 4.21), Words(CORN, "metric").roughness.text(420.0)) == ("4.2 bu/ac", "0.42 t/ha")


def test_interval_has_the_decimals_of_its_mean() -> None:
    """A mean of one decimal never stands between bounds of two."""
    assert Words(CORN, "us").loss.interval(Estimate(100.0, 62.0, 138.4)) == "1.6 bu/ac (1.0 to 2.2)"
    assert Words(CORN, "us").loss.interval(Estimate(14.0, 6.0, 24.0)) == "0.22 bu/ac (0.10 to 0.38)"


def test_thousands_and_nothing_to_be_seen_have_their_interval() -> None:
    """A comma in the mean is no obstacle; a mean that rounds to nothing is said by its upper end."""
    assert Words(CORN, "metric").money.interval(Estimate(1071.6, 799.2, 1371.3)) == "1,072 USD (799 to 1,371)"
    assert Words(CORN, "metric").loss.interval(Estimate(0.04, 0.0, 3.2)) == "under 3.2 kg/ha"


def test_nothing_known_says_so() -> None:
    """A NaN never reaches a reader."""
    words = Words(CORN, "us")
    assert words.loss.interval(NOTHING) == words.loss.text(math.nan) == "not known"


def test_no_minus_before_nothing() -> None:
    """-0.04 to no decimals is 0, not -0; thousands have their comma."""
    assert (plain(-0.04, 0), plain(-0.04, 1), plain(-0.06, 1), plain(-12_345.6, 0)) == ("0", "0.0", "-0.1", "-12,346")


@given(st.floats(1e-3, 1e5), st.integers(1, 4), st.integers(0, 3))
def test_rounding_keeps_the_figures_it_promises(value: float, significant: int, most: int) -> None:
    """Law: what is shown is off by less than half a unit of its last promised figure."""
    scale = Scale(1.0, "u", significant, most)
    shown = float(scale.number(value).replace(",", ""))
    step = max(10.0 ** (math.floor(math.log10(value)) - significant + 1), 10.0**-most)
    assert abs(shown - value) <= 0.5 * min(max(step, 10.0**-most), 10.0 ** -scale.places(value)) * (1 + 1e-9)


def test_a_day_cannot_be_taken_for_another() -> None:
    """The month is a word, in whatever language the machine speaks."""
    assert day_of(datetime.date(2025, 10, 8)) == "8 Oct 2025"
    assert [short_day(datetime.date(2025, month, 1)) for month in (3, 5, 12)] == ["1 Mar", "1 May", "1 Dec"]


def test_steps_of_drivers_in_peoples_units() -> None:
    """Half a metre a second is 1.1 mph and 1.8 km/h; points stay points."""
    assert Words(CORN, "us").step("speed", "+0.5 m/s") == "each 1.1 mph faster"
    assert Words(CORN, "metric").step("speed", "+0.5 m/s") == "each 1.8 km/h faster"
    assert Words(CORN, "us").step("dryness", "-2 points") == "each 2 points drier"
    assert Words(CORN, "us").step("dryness", "-1 point") == "each 1 point drier"


def test_speeds_to_set_are_a_range_of_what_a_driver_can_hold() -> None:
    """Tenths of a mile an hour, fifths of a kilometre an hour; one speed is still told as a range."""
    assert Words(CORN, "us").speeds_to_set(1.62, 1.88) == "3.6 to 4.2 mph"
    assert Words(CORN, "us").speeds_to_set(1.80, 1.80) == "3.9 to 4.1 mph"
    assert Words(CORN, "metric").speeds_to_set(1.62, 1.88) == "5.8 to 6.8 km/h"
