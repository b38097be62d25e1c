"""Yield from its parts, and values that are not believed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.clean.values import at_market, moisture, stuck, unlike_field, unlike_neighbours, wet_yield


def test_readings_that_are_none_are_missing():
    """0, 2.1 and 60 % are no grain moisture."""
    assert moisture(np.array([0.0, 2.1, 5.0, 16.0, 60.0])) == pytest.approx([np.nan, np.nan, 5.0, 16.0, np.nan], nan_ok=True)


def test_no_area_no_yield():
    """Standing still makes no yield, not an endless one."""
    assert np.isnan(wet_yield(np.array([10.0]), np.array([1.0]), np.array([9.0]), np.array([0.0]))).all()


@given(st.floats(1, 30), st.floats(5, 40), st.floats(5, 20))
def test_dry_matter_is_kept(wet_t_ha, water, market):
    """What is turned to market moisture holds the same dry matter."""
    sold = at_market(np.array([wet_t_ha]), np.array([water]), market)
    assert sold[0] * (100 - market) == pytest.approx(wet_t_ha * (100 - water))


def test_missing_moisture_takes_the_fields_middle_one():
    """A gap in moisture does not make a gap in yield."""
    assert at_market(np.array([1.0, 1.0, 1.0]), np.array([16.0, np.nan, 16.0]), 15.5)[1] == pytest.approx(84 / 84.5)


def test_skew_does_not_take_the_tail():
    """Robust limits take planted outliers and leave a normal field almost alone."""
    rng = np.random.default_rng(1)
    values = rng.normal(9000, 900, 5000)
    values[:10] = 30_000
    wrong = unlike_field(values, np.ones(5000, dtype=bool), 4.0)
    assert wrong[:10].all()
    assert wrong[10:].sum() <= 3


def test_a_point_unlike_its_neighbours_and_a_strip_that_is_like_its_own():
    """One record at half the yield goes; a trial strip at 1.3 times the yield, five headers wide, stays."""
    north, east = np.meshgrid(np.arange(0, 300, 2.0), np.arange(0, 180, 9.0))
    values = np.where((east >= 45) & (east < 90), 1.3, 1.0).ravel() * 9000
    values[1234] = 3000
    wrong = unlike_neighbours(east.ravel(), north.ravel(), values, np.ones(values.size, dtype=bool), 22.5, 50.0)
    assert np.flatnonzero(wrong).tolist() == [1234]


def test_a_stuck_sensor_is_not_a_coarse_one():
    """Two minutes of one value among readings that change every second are stuck; a sensor in whole points is only coarse."""
    rng = np.random.default_rng(1)
    moving = np.round(16 + rng.normal(0, 0.3, 600), 1)
    moving[200:320] = 13.0
    found = stuck(moving, np.ones(600), 60.0)
    assert found[200:320].all()
    assert found.sum() <= 122
    coarse = np.repeat(np.arange(10, 16), 100).astype(float)
    assert not stuck(coarse, np.ones(600), 60.0).any()
