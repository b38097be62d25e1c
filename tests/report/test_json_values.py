"""Estimates as JSON holds them."""

import math

import pytest

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.report.json_values import by_acre, interval, known


def test_what_nobody_knows_is_null():
    """NaN and infinity are no JSON; numbers keep six figures."""
    assert [known(value) for value in (math.nan, math.inf, 1 / 3, 1234567.0)] == [None, None, 0.333333, 1234570.0]


def test_an_interval_has_three_ends():
    """Named with their unit; nothing known is three times null."""
    assert interval(Estimate(2, 1, 4), "_kg_ha") == {"mean_kg_ha": 2, "low_kg_ha": 1, "high_kg_ha": 4}
    assert interval(NOTHING) == {"mean": None, "low": None, "high": None}


def test_an_acre_is_less_than_a_hectare():
    """There are 2.47105 acres in a hectare (NIST Handbook 44)."""
    assert by_acre(Estimate(247.105, 0, 2 * 247.105)).mean == pytest.approx(100, rel=1e-5)
