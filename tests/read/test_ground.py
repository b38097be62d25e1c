from __future__ import annotations

import numpy as np
import pytest

from lossmap.read.ground import ground_of, ratio_of


def walked(step_m=2.0, count=60, width_m=9.0, seconds=None, order=None):
    """A log straight north, `step_m` a record."""
    north = np.arange(count) * step_m
    order = np.arange(count) if order is None else order
    return ground_of(np.full(count, 450_000.0)[order], (4_639_000.0 + north)[order], False, seconds, None, width_m)


def test_steps_and_clock_are_measured():
    """Two metres a second are found from places and clock."""
    ground = walked(seconds=np.arange(60.0))
    assert (ground.step_m, ground.interval_s) == (pytest.approx(2.0), pytest.approx(1.0))


def test_degrees_are_metres_on_the_ground():
    """A step of two metres is two metres in degrees as well, east and north."""
    for east, north in ((2.0, 0.0), (0.0, 2.0), (1.2, 1.6)):
        lon = -93.6 + np.arange(60) * east / 111_195 / np.cos(np.radians(41.9))
        lat = 41.9 + np.arange(60) * north / 111_195
        assert ground_of(lon, lat, True, None, None, 9.0).step_m == pytest.approx(2.0, rel=0.003)


def test_rows_out_of_order_measure_nothing():
    """Shuffled rows tell no step; a running number puts them right."""
    order = np.random.default_rng(1).permutation(600)
    assert np.isnan(walked(count=600, order=order).step_m)
    mended = ground_of(np.full(600, 450_000.0), 4_639_000.0 + 2.0 * order, False, None, order.astype(float), 9.0)
    assert mended.step_m == pytest.approx(2.0)


def test_a_row_for_each_section_is_one_step():
    """Four rows a second are one reading of a quarter of the header's width each."""
    north = np.repeat(np.arange(60) * 2.0, 4)
    east = np.tile([-3.0, -1.0, 1.0, 3.0], 60)
    ground = ground_of(450_000 + east, 4_639_000 + north, False, np.repeat(np.arange(60.0), 4), None, 8.0)
    assert ground.step_m == pytest.approx(2.0)
    assert ground.width_m == pytest.approx(2.0)


def test_places_that_are_all_unknown_measure_nothing():
    """Gaps, and infinite places, leave the ground silent, without a warning."""
    for nowhere in (np.full(5, np.nan), np.array([np.inf, -np.inf, 1.0, np.nan, 2.0])):
        assert np.isnan(ground_of(nowhere, nowhere[::-1], True, None, None, 9.0).step_m)


@pytest.mark.parametrize(
    ("role", "value", "ratio"),
    [
        ("distance", 2.0, 1.0),
        ("distance", 2.0 / 3.28084, 3.28084),
        ("speed", 2.0, 1.0),
        ("width", 9.0, 1.0),
        ("yield", 5555.6, 1.0),
        ("moisture", 16.0, np.nan),
    ],
)
def test_what_the_ground_says_of_a_column(role, value, ratio):
    """A right unit has ratio one, feet taken for metres 3.28, and what has no check is not a number."""
    ground = walked(seconds=np.arange(60.0))
    assert ratio_of(role, value, ground, {"mass_flow": 10.0}) == pytest.approx(ratio, rel=1e-3, nan_ok=True)
