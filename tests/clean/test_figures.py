"""The figures to publish: planted noise, pattern and levels of passes."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.figures import figures, pass_offset_pct, spread


def strips(level, passes=20, length=150):
    """Records two metres apart on passes nine metres apart, each pass at its own level of yield."""
    east = np.repeat(np.arange(passes) * 9.0, length)
    north = np.tile(np.arange(length) * 2.0, passes)
    return east, north, np.repeat(level, length), np.repeat(np.arange(passes), length)


def test_spread_of_nothing_is_unknown():
    """One value has no spread."""
    assert np.isnan(spread(np.array([1.0]))["sd"])
    known = spread(np.array([1.0, 2.0, 3.0]))
    assert (known["mean"], known["median"], known["sd"]) == (2.0, 2.0, 1.0)


def test_noise_is_nugget_and_pattern_is_sill():
    """White noise of sd 300 has nugget and sill 90,000; a slow pattern on top raises the sill, not the nugget."""
    rng = np.random.default_rng(2)
    east, north, _, _ = strips(np.zeros(20))
    noise = rng.normal(0, 300, east.size)
    area = np.full(east.size, 18.0)
    rough = figures(east, north, 9000 + noise, area)
    assert rough["first_lag"] == pytest.approx(90_000, rel=0.08)
    assert rough["nugget"] == pytest.approx(90_000, rel=0.1)
    assert rough["sill"] == pytest.approx(90_000, rel=0.1)
    pattern = figures(east, north, 9000 + noise + 800 * np.sin(east / 30) * np.sin(north / 30), area)
    assert pattern["nugget"] <= pattern["first_lag"] <= pattern["sill"]
    assert pattern["sill"] > 2 * 90_000
    assert rough["mass_kg"] == pytest.approx((9000 + noise.mean()) * area.sum() / 10_000)


def test_levels_of_passes_are_told():
    """Passes that differ by 5 % show as 5 %, an even field as nothing."""
    rng = np.random.default_rng(3)
    level = 9000 * np.exp(rng.normal(0, 0.05, 40))
    east, north, values, number = strips(level, passes=40)
    believed = np.ones(east.size, dtype=bool)
    assert pass_offset_pct(east, north, values, number, believed, 9.0) == pytest.approx(5.0, abs=1.5)
    assert pass_offset_pct(east, north, np.full(east.size, 9000.0), number, believed, 9.0) == pytest.approx(0.0, abs=1e-6)
    assert np.isnan(pass_offset_pct(east[:300], north[:300], values[:300], number[:300], believed[:300], 9.0))
