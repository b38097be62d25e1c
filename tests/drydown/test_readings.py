"""What readings say of today's moisture and of a field's own rate."""

from __future__ import annotations

import dataclasses
import datetime

import numpy as np
import pytest
from drydown.test_moisture import CORN, steady

from lossmap.base.farm import Reading
from lossmap.base.rank_settings import DoubtSettings
from lossmap.base.settings import build
from lossmap.drydown.moisture import air, dried
from lossmap.drydown.readings import normal_scores, today

FIRST = datetime.date(2025, 9, 1)
DRAWS = 400


def said(readings, day, error=1.0, rate=0.12, seed=1):
    """Draws of today."""
    weather = dataclasses.replace(steady(16, 68, 60), first_on=FIRST, today=day)
    doubt = build(DoubtSettings, {"moisture_error_pct": error, "drying": f"{100 * rate} %"}, "test")
    year = np.zeros(DRAWS, dtype=int)
    return today(readings, weather, air("corn", weather, CORN), doubt, year, np.random.default_rng(seed))


def on(day, moisture):
    """A reading."""
    return Reading(FIRST + datetime.timedelta(days=day), moisture)


def test_scores_are_even_and_normal():
    """Mean 0, deviation 1, in no order."""
    scores = normal_scores(np.random.default_rng(1), 1000)
    assert scores.mean() == pytest.approx(0, abs=1e-12)
    assert scores.std() == pytest.approx(1, abs=0.01)
    assert abs(np.corrcoef(scores[:-1], scores[1:])[0, 1]) < 0.1


def test_a_reading_of_today_is_what_it_says():
    """Its value with its error, the rate with its spread."""
    found = said([on(10, 28.0)], 10)
    assert found.moisture_pct.mean() == pytest.approx(28, abs=0.01)
    assert found.moisture_pct.std() == pytest.approx(1, abs=0.02)
    assert np.log(found.factor).std() == pytest.approx(0.12, abs=0.005)


def test_an_old_reading_dries_to_today_and_grows_doubtful():
    """Ten days on it is drier, and what the rate adds to the doubt stands beside what drying takes from the error."""
    of = air("corn", steady(16, 68, 60), CORN)
    found = said([on(0, 32.0)], 10, error=0.1, rate=0.3)
    middle = dried(np.array([32.0]), np.ones(1), np.zeros(1, dtype=int), of, 0, 10)[-1, 0]
    assert found.moisture_pct.mean() == pytest.approx(middle, abs=0.2)
    assert found.moisture_pct.std() > 1


@pytest.mark.parametrize("truth", [0.7, 1.0, 1.4])
def test_two_readings_set_the_rate(truth):
    """A field that dries faster or slower than its crop is found out, and its doubt shrinks."""
    of = air("corn", steady(16, 68, 60), CORN)
    path = dried(np.array([34.0]), np.array([truth]), np.zeros(1, dtype=int), of, 0, 14)[:, 0]
    found = said([on(0, path[0]), on(14, path[14])], 14, error=0.3, rate=0.3)
    assert np.exp(np.log(found.factor).mean()) == pytest.approx(truth, rel=0.06)
    assert np.log(found.factor).std() < 0.15
    assert found.moisture_pct.mean() == pytest.approx(path[14], abs=0.15)


def test_doubt_is_covered():
    """Planted fields: the middle 80 % of draws holds the true moisture of today 8 times in 10."""
    of = air("corn", steady(16, 68, 60), CORN)
    rng = np.random.default_rng(5)
    inside = 0
    for seed in range(150):
        factor, start = np.exp(0.12 * rng.standard_normal()), rng.uniform(24, 34)
        path = dried(np.array([start]), np.array([factor]), np.zeros(1, dtype=int), of, 0, 20)[:, 0]
        readings = [on(day, path[day] + rng.standard_normal()) for day in (0, 9)]
        low, high = np.quantile(said(readings, 15, seed=seed).moisture_pct, [0.1, 0.9])
        inside += low <= path[15] <= high
    assert 0.70 <= inside / 150 <= 0.90


def test_same_seed_same_draws():
    """Nothing but the seed decides."""
    one, other = (said([on(0, 30), on(5, 27)], 8, seed=3) for _ in range(2))
    assert (one.moisture_pct == other.moisture_pct).all()
    assert (said([on(0, 30), on(5, 27)], 8, seed=4).moisture_pct != one.moisture_pct).any()
