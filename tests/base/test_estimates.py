"""Numbers with their doubt."""

from __future__ import annotations

import dataclasses
import math
import pickle
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.estimates import NOTHING, Z90, Delay, Driver, Estimate, lognormal, normal_points

numbers = st.floats(min_value=-1e9, max_value=1e9)


@given(low=numbers, mean=numbers, high=numbers, by=st.floats(min_value=1e-6, max_value=1e6))
def test_another_unit_keeps_the_order(low: float, mean: float, high: float, by: float) -> None:
    """Low, mean and high stay in order in any unit, and come back."""
    low, mean, high = sorted((low, mean, high))
    other = Estimate(mean, low, high).times(by)
    assert other.low <= other.mean <= other.high
    assert other.times(1 / by).mean == pytest.approx(mean, rel=1e-9, abs=1e-9)


def test_nothing_is_nothing() -> None:
    """What is not known is false, in any unit; a known zero is not."""
    assert not NOTHING
    assert not NOTHING.times(3)
    assert Estimate(0.0, 0.0, 1.0)
    assert not Estimate(math.inf, 0.0, math.inf)


def test_estimates_are_values() -> None:
    """Frozen, equal by value, and the same after a trip between processes."""
    estimate = Estimate(2.0, 1.0, 3.0)
    with pytest.raises(dataclasses.FrozenInstanceError):
        estimate.mean = 5.0  # type: ignore[misc]
    delay = Delay(12.0, 11.0, 13.0, applied=False, note="not set")
    driver = Driver("speed", "tracks", estimate, "+0.5 m/s", 0.99, 2.0, 36, None, NOTHING)
    assert pickle.loads(pickle.dumps((estimate, delay))) == (estimate, delay)
    assert pickle.loads(pickle.dumps(driver)).effect == estimate


@given(number=st.integers(0, 400))
def test_normal_points_are_the_middles_of_equal_slices(number: int) -> None:
    """As many as asked for, each where the standard library's normal distribution has the middle of its slice."""
    normal = statistics.NormalDist()
    assert normal_points(number).tolist() == pytest.approx([normal.inv_cdf((place + 0.5) / number) for place in range(number)], abs=1e-9)


def test_normal_points_stand_for_the_normal() -> None:
    """Their mean is 0, their spread falls short of 1 by the tails' slices alone, and 9 in 10 lie within the 90 % interval."""
    points = normal_points(1000)
    assert points.mean() == pytest.approx(0, abs=1e-12)
    assert points.std() == pytest.approx(1, abs=0.005)
    assert (abs(points) < Z90).mean() == 0.9


@given(mean=st.floats(0.1, 1e4), sd=st.floats(0.01, 0.8), further=st.floats(0.0, 0.5))
def test_a_log_normal_has_its_quantiles(mean: float, sd: float, further: float) -> None:
    """5 % and 95 % points of the log-normal with that mean; doubt from elsewhere widens it and moves no mean."""
    variance = sd**2
    usual = statistics.NormalDist(math.log(mean) - variance / 2, math.hypot(sd, further))
    found = lognormal(mean, variance, further)
    assert (found.low, found.high) == pytest.approx((math.exp(usual.inv_cdf(0.05)), math.exp(usual.inv_cdf(0.95))))
    assert found.mean == mean
    assert found.log_sd == pytest.approx(math.hypot(sd, further))
