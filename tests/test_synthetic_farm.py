"""Made farms are what they say they are."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import pytest

from lossmap.base.tables import WEATHER
from lossmap.read import read_farm, read_farm_weather
from lossmap.synthetic_farm import FarmPlan, made_farm, made_weather, made_years, write_farm


def test_same_seed_same_farm():
    """Fields, truth and weather follow from the seed alone."""
    one, other = (made_farm(FarmPlan(fields=5), 3) for _ in range(2))
    assert one.farm == other.farm
    assert one.truth == other.truth
    assert one.season.equals(other.season)
    assert made_farm(FarmPlan(fields=5), 4).truth != one.truth


def test_readings_stand_off_the_truth_by_their_error():
    """Over many fields the readings' error has the standard error planned, and no bias."""
    made = made_farm(FarmPlan(fields=400, years=6), 1)
    error = np.array([field.readings[0].moisture_pct - true.moisture_pct for field, true in zip(made.farm.fields, made.truth, strict=True)])
    assert error.std() == pytest.approx(1.0, abs=0.12)
    assert error.mean() == pytest.approx(0.0, abs=0.15)
    assert np.log([true.rate for true in made.truth]).std() == pytest.approx(0.12, abs=0.02)
    assert len({field.name for field in made.farm.fields}) == 400
    assert len({true.before for true in made.truth}) == 2


def test_weather_is_of_a_middle_latitude():
    """Cold winters, warm summers, wet days in spells, nights below days, dew below the mean."""
    table = WEATHER.check(made_years(range(2000, 2020), 1))
    mean = (table["tmin_c"] + table["tmax_c"]) / 2
    month = table["day_on"].dt.month
    assert mean[month == 1].mean() == pytest.approx(-4, abs=1.5)
    assert mean[month == 7].mean() == pytest.approx(24, abs=1.5)
    wet = (table["rain_mm"] > 0).to_numpy()
    assert wet[1:][wet[:-1]].mean() > wet[1:][~wet[:-1]].mean() + 0.2
    assert 600 < table["rain_mm"].sum() / 20 < 1100
    assert (table["dewpoint_c"] < mean + 3).all()
    assert made_weather("2025-09-01", 30, 1, humidity=False)["dewpoint_c"].isna().all()


def test_what_is_written_is_read_back(tmp_path):
    """The folder holds the farm as its owner knows it: no truth, weather up to today and four days of forecast."""
    made = made_farm(FarmPlan(fields=7, combines=2, years=6), 5)
    write_farm(made, tmp_path / "farm", FarmPlan().on)
    farm = read_farm(tmp_path / "farm")
    assert [field.name for field in farm.fields] == [field.name for field in made.farm.fields]
    assert [field.readings for field in farm.fields] == [field.readings for field in made.farm.fields]
    assert [combine.name for combine in farm.combines] == ["combine 1", "combine 2"]
    assert farm.money["soybean"].shrink == made.farm.money["soybean"].shrink
    weather = read_farm_weather(farm)
    assert weather["day_on"].max() == pd.Timestamp(FarmPlan().on + datetime.timedelta(days=3))
    assert sorted(set(weather["day_on"].dt.year)) == list(range(2019, 2026))
