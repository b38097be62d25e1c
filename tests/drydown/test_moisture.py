"""Drying in the field: tables of equilibrium moisture, published points a day, and laws."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.reference import equilibria, waiting
from lossmap.drydown.moisture import air, dried, drying_days, equilibrium_pct, values
from lossmap.drydown.weather import Seasons
from outside import agrees

CORN, SOYBEAN = (values(waiting(crop), {}) for crop in ("corn", "soybean"))
TABLED = ["corn", "soybean", "wheat", "wheat_soft", "durum", "sorghum", "rice", "barley"]

# Published table of shelled corn (source EMCT): F, % humidity, printed %.
CORN_TABLE = [
    (35, 50, 13.0),
    (60, 10, 4.6),
    (60, 60, 13.3),
    (60, 90, 20.1),
    (70, 50, 11.2),
    (100, 90, 17.7),
    (45, 80, 18.3),
    (65, 70, 14.8),
]


def steady(temperature_c, humidity_pct, days, rain_mm=0.0):
    """The same weather day after day."""
    same = (np.full((1, days), float(value)) for value in (temperature_c, humidity_pct, rain_mm))
    return Seasons(datetime.date(2025, 9, 1), 0, (2024,), *same, 0)


def after(crop, figures, start_pct, weather, days):
    """Moisture after so many days."""
    return float(dried(np.array([start_pct]), np.ones(1), np.zeros(1, dtype=int), air(crop, weather, figures), 0, days)[-1, 0])


@pytest.mark.parametrize(("fahrenheit", "humidity", "printed"), CORN_TABLE)
def test_corn_comes_to_rest_where_the_table_says(fahrenheit, humidity, printed):
    """Eight cells of a published table, to the printed decimal."""
    what = f"corn at rest in air of {fahrenheit} F, {humidity} % [%]"
    agrees(what, "EMCT", equilibrium_pct(equilibria("corn")[0], (fahrenheit - 32) / 1.8, humidity), printed, 0.051)


@pytest.mark.parametrize(("crop", "printed"), [("corn", 11.3), ("soybean", 8.8)])
def test_the_kentucky_chart(crop, printed):
    """70 F and 50 % humidity (source UKE): the first form of each crop is within 0.1 point."""
    agrees(f"{crop} at rest in air of 70 F, 50 % [%]", "UKE", equilibrium_pct(equilibria(crop)[0], 21.11, 50), printed, 0.1)


@pytest.mark.parametrize("humidity", [60, 70, 80, 90])
def test_two_forms_of_corn_agree_where_it_matters(humidity):
    """At 15 C the standard's two forms differ by 0.4 point at most, rounded to a tenth."""
    one, other = (equilibrium_pct(equilibria("corn")[form], 15, humidity) for form in (0, 1))
    assert one == pytest.approx(other, abs=0.45)


@pytest.mark.parametrize("grain", TABLED)
@given(temperature=st.floats(0, 40), humidity=st.floats(12, 93), more=st.floats(0.5, 5))
def test_damper_air_moister_grain_warmer_air_drier(grain, temperature, humidity, more):
    """Every form of every grain rises with humidity and falls with temperature, and stays within what grain can hold."""
    for of in equilibria(grain):
        here = float(equilibrium_pct(of, temperature, humidity))
        assert float(equilibrium_pct(of, temperature, min(humidity + more, 94.9))) > here
        assert float(equilibrium_pct(of, temperature + more, humidity)) < here or of.form == "oswin"
        assert 0.5 < here < 35


# Published drying of corn, points a day. Temperature and humidity of the days and the moisture they began at are our reading
# of the season and place, from memory; the rates are published (sources HELF, HICKS, OSUG, ISUC).
ANCHORS = {
    "North Dakota, 11 Oct to 1 Nov": (35, 8, 68, 21, 0.38),
    "North Dakota, 1 Nov to 1 Dec": (27, -1, 74, 30, 0.17),
    "North Dakota, September": (32, 14.5, 66, 30, 0.64),
    "North Dakota, October": (27, 8, 68, 30, 0.36),
    "North Dakota, November": (22, 0, 75, 30, 0.14),
    "Minnesota, 20 to 30 Sep": (32, 16, 66, 10, 0.75),
    "Minnesota, 1 to 15 Oct": (24.5, 11, 67, 15, 0.50),
    "Ohio, warm dry autumn": (32, 19, 68, 14, 0.84),
    "Ohio, cool wet autumn": (28, 9.5, 75, 14, 0.335),
    "Ohio, late September": (30, 17, 72, 10, 0.88),
    "Ohio, early October": (27, 14, 71, 10, 0.62),
    "Ohio, late October": (23, 10, 72, 10, 0.38),
    "Ohio, mid November": (20, 5, 75, 10, 0.12),
    "Iowa, September": (32, 17, 70, 14, 0.64),
    "Iowa, October": (26, 11, 68, 14, 0.36),
}


def _model_rate(start_pct, temperature_c, humidity_pct, days):
    return (start_pct - after("corn", CORN, start_pct, steady(temperature_c, humidity_pct, days + 1), days)) / days


def test_corn_dries_at_published_rates():
    """Fifteen published rates: 0.10 point a day root mean square, no bias beyond 0.05."""
    errors = np.array([_model_rate(*anchor[:4]) - anchor[4] for anchor in ANCHORS.values()])
    source = "HELF, HICKS, OSUG, ISUC (weather from memory)"
    agrees("corn drying, 15 rates, root mean square difference [point/day]", source, np.sqrt(np.mean(errors**2)), 0, 0.10)
    agrees("corn drying, 15 rates, mean difference [point/day]", source, errors.mean(), 0, 0.05)


def test_soybean_dries_as_measured_in_iowa():
    """3.2 points a day for twelve days after maturity (source ISUS), then near 13 %."""
    weather = steady(18, 68, 25)
    twelve = after("soybean", SOYBEAN, 55, weather, 12)
    agrees("soybean drying in the 12 days after maturity [point/day]", "ISUS", (55 - twelve) / 12, 3.2, 0.6)
    assert after("soybean", SOYBEAN, 55, weather, 20) == pytest.approx(12, abs=2)


@given(start=st.floats(10, 45), temperature=st.floats(-5, 30), humidity=st.floats(30, 90), warmer=st.floats(1, 10))
def test_never_beyond_rest_and_faster_when_warm(start, temperature, humidity, warmer):
    """Grain never passes its equilibrium, and dries faster in warmer air of the same humidity."""
    weather = steady(temperature, humidity, 11)
    rest = float(air("corn", weather, CORN).target_pct[0, 0])
    end = after("corn", CORN, start, weather, 10)
    assert min(start, rest) - 1e-9 <= end <= max(start, rest) + 1e-9
    if start > rest + 0.5:
        assert after("corn", CORN, start, steady(temperature + warmer, humidity, 11), 10) < end


def test_rain_wets_grain_again_and_the_husk_slows_it():
    """Beans at 10 % gain points in rain; corn gains less."""
    gained = {
        crop: after(crop, figures, 10.0, steady(15, 60, 3, rain_mm=8.0), 2) - 10 for crop, figures in (("corn", CORN), ("soybean", SOYBEAN))
    }
    assert 0 < gained["corn"] < gained["soybean"]
    assert gained["soybean"] > 1.5


def test_days_since_maturity_by_the_usual_drying():
    """Corn at 21.2 % matured 20 days ago at 35 %; wetter than at maturity is today."""
    assert drying_days(CORN, 35 - 13.8) == pytest.approx(20)
    assert drying_days(CORN, 38) == 0


def test_a_figure_can_be_replaced():
    """What a user puts in place of a figure holds; the others stay."""
    changed = values(waiting("corn"), {"drying_rate": 0.1})
    assert changed["drying_rate"] == 0.1
    assert changed["drying_q10"] == CORN["drying_q10"]
