"""Autumns that may come."""

from __future__ import annotations

import datetime
import re

import numpy as np
import pandas as pd
import pytest

from lossmap.base.errors import TooLittleData
from lossmap.base.rank_settings import HoursSettings, YearSettings
from lossmap.drydown.weather import fit_shares, relative_humidity_pct, saturation_kpa, seasons
from lossmap.synthetic_farm import made_weather, made_years
from outside import agrees

FIRST, ON = datetime.date(2025, 9, 20), datetime.date(2025, 9, 25)


def test_saturation_as_tabled():
    """Vapour pressure at 1, 15 and 30 C: 0.657, 1.705, 4.243 kPa (FAO 56, annex 2, from memory)."""
    for celsius, tabled in ((1.0, 0.657), (15.0, 1.705), (30.0, 4.243)):
        agrees(f"vapour pressure at {celsius:g} C [kPa]", "FAO56, annex 2 (from memory)", saturation_kpa([celsius])[0], tabled, 0.001)
    assert relative_humidity_pct(15, 15) == pytest.approx(100)
    assert relative_humidity_pct(20, 25) == 100


def test_years_are_aligned_by_day():
    """Day 0 of every year is the same date; leap years do not shift it; what is past is one for all."""
    record = made_years(range(2015, 2025), 1)
    this_year = made_weather("2025-09-20", 5, 2)
    found = seasons(pd.concat([record, this_year]), FIRST, ON, YearSettings(season="60 d"))
    assert found.years == tuple(range(2015, 2025))
    assert found.today == 5
    assert found.days == 65
    rain = record.set_index("day_on")["rain_mm"]
    for row, year in enumerate(found.years):
        assert found.rain_mm[row, 5:].tolist() == rain[f"{year}-09-25" : f"{year}-11-23"].tolist()
    assert (found.rain_mm[:, :5] == this_year["rain_mm"].to_numpy()).all()
    assert found.forecast_days == 0
    assert found.notes == ()


def test_a_leap_day_has_its_like_in_every_year():
    """What begins on 29 February begins on the 28th of years that have none."""
    record = made_years(range(2017, 2024), 1)
    found = seasons(record, datetime.date(2024, 2, 29), datetime.date(2024, 2, 29), YearSettings(season="20 d"))
    assert found.years == tuple(range(2017, 2024))
    rain = record.set_index("day_on")["rain_mm"]
    assert found.rain_mm[0].tolist() == rain["2017-02-28":"2017-03-19"].tolist()
    assert found.rain_mm[3].tolist() == rain["2020-02-29":"2020-03-19"].tolist()


def test_a_forecast_takes_the_first_days():
    """Days from today on that the file holds are believed, ten at most, and up to the first gap."""
    record = made_years(range(2015, 2025), 1)
    now = made_weather("2025-09-20", 30, 2)
    assert seasons(pd.concat([record, now]), FIRST, ON, YearSettings()).forecast_days == 10
    gap = now.drop(index=8)
    found = seasons(pd.concat([record, gap]), FIRST, ON, YearSettings())
    assert found.forecast_days == 3
    assert np.ptp(found.rain_mm[:, 5:8], axis=0).tolist() == [0, 0, 0]
    assert np.ptp(found.temperature_c[:, 8]) > 0


def test_days_nobody_recorded_are_said():
    """Where this season's past days are missing, past years stand for them and the plan says so."""
    found = seasons(made_years(range(2015, 2025), 1), FIRST, ON, YearSettings())
    assert found.notes == ("5 of the 5 days since the oldest reading are not in the weather file: past years stand for them",)


def test_no_humidity_is_said():
    """Without humidity it is taken from the night's lowest temperature, with the caution."""
    found = seasons(made_years(range(2015, 2025), 1, humidity=False), FIRST, FIRST, YearSettings())
    assert len(found.notes) == 1
    assert found.notes[0].startswith("no humidity in 100% of the weather's days: taken from the night's lowest temperature")
    drier = seasons(made_years(range(2015, 2025), 1, humidity=False), FIRST, FIRST, YearSettings(dewpoint_below_tmin_c=2.0))
    assert (drier.humidity_pct < found.humidity_pct).all()


def test_too_few_years():
    """Which years were found, how many are needed, what to do."""
    record = made_years(range(2021, 2025), 1)
    record = record[~((record["day_on"].dt.year == 2022) & (record["day_on"].dt.month == 10))]
    message = (
        "weather: 3 past years hold the days from 20 Sep to 08 Dec (2021, 2023, 2024); 5 are needed to say what may come: "
        'add them as history = "..." in farm.toml, or set years.least_years'
    )
    with pytest.raises(TooLittleData, match=re.escape(message)):
        seasons(record, FIRST, ON, YearSettings())
    assert seasons(record, FIRST, ON, YearSettings(least_years=3)).years == (2021, 2023, 2024)
    with pytest.raises(TooLittleData, match=r"0 past years .* \(none\)"):
        seasons(record.iloc[:0], FIRST, ON, YearSettings())


def test_small_gaps_are_filled():
    """A year that lacks a tenth of its days stays: temperature between its neighbours, rain none."""
    record = made_years(range(2015, 2025), 1)
    gaps = record["day_on"].isin(pd.to_datetime(["2020-10-05", "2020-10-06"]))
    found = seasons(record[~gaps], FIRST, FIRST, YearSettings())
    row, day = found.years.index(2020), 15
    assert found.rain_mm[row, day : day + 2].tolist() == [0, 0]
    around = found.temperature_c[row, [day - 1, day + 2]]
    assert found.temperature_c[row, day] == pytest.approx(around[0] + (around[1] - around[0]) / 3)


@pytest.mark.parametrize(
    ("rain", "shares"),
    [
        ([0, 0, 0, 0], [1, 1, 1, 1]),
        ([0, 2, 0, 0], [1, 0.5, 1, 1]),
        ([0, 5, 0, 0], [1, 0, 1, 1]),
        ([0, 10, 0, 0], [1, 0, 0.5, 1]),
        ([0, 30, 0, 0], [1, 0, 0, 0.5]),
    ],
)
def test_rain_takes_hours(rain, shares):
    """More rain takes the day, the next, and half of the third."""
    found = fit_shares(np.array([rain], dtype=float), datetime.date(2025, 9, 1), HoursSettings())
    assert found[0].tolist() == shares


def test_days_grow_short_in_both_hemispheres():
    """Late November has three quarters of the hours of early September; so has late May in the south."""
    for first in (datetime.date(2025, 11, 28), datetime.date(2025, 5, 30)):
        assert fit_shares(np.zeros((1, 1)), first, HoursSettings())[0, 0] == pytest.approx(0.75)
    for first in (datetime.date(2025, 9, 1), datetime.date(2025, 3, 1)):
        assert fit_shares(np.zeros((1, 1)), first, HoursSettings())[0, 0] == 1


def test_days_suitable_in_a_week():
    """Made autumns have 4.5 to 6.5 days a week of four hours or more, as field-work records of the Corn Belt have (Iowa State A3-25)."""
    rain = made_years(range(2000, 2020), 3)
    autumn = rain[rain["day_on"].dt.month.isin([10])]["rain_mm"].to_numpy().reshape(20, 31)
    hours = fit_shares(autumn, datetime.date(2025, 10, 1), HoursSettings()) * 10
    assert 4.5 <= 7 * (hours >= 4).mean() <= 6.5
