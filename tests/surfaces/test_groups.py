"""Stops brought together: nothing counted is lost, and those alike are together."""

import geopandas as gpd
import numpy as np
import pytest

from lossmap.base.tables import POSITIONS
from lossmap.surfaces.groups import MOST_COUNTS, grouped


def stops_of(places, speed, moisture=13.0):
    """LOSSES of stops counted behind the combine."""
    rng, stops = np.random.default_rng(1), len(places)
    columns = {f"{what}_{position}": np.full(stops, np.nan) for what in ("seeds", "frame_m2") for position in POSITIONS}
    columns |= {"seeds_behind_combine": rng.poisson(9, stops).astype(float), "frame_m2_behind_combine": rng.uniform(0.1, 0.5, stops)}
    columns |= {"concentration": 2.0, "weighed": 0.0, "speed_m_s": speed, "moisture_pct": moisture}
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(*places.T), crs=32615)


def test_few_counts_are_left_alone():
    """As many as the model takes: the table itself."""
    losses = stops_of(np.random.default_rng(0).uniform(0, 500, (MOST_COUNTS, 2)), 2.0)
    assert grouped(losses) is losses


def test_nothing_counted_is_lost():
    """Six hundred stops become 300 groups with all their seeds and area; positions that nobody counted stay so."""
    losses = stops_of(np.random.default_rng(0).uniform(0, 500, (600, 2)), 2.0)
    groups = grouped(losses)
    assert len(groups) == MOST_COUNTS
    for name in ("seeds_behind_combine", "frame_m2_behind_combine"):
        assert groups[name].sum() == pytest.approx(losses[name].sum())
    assert groups["seeds_before_header"].isna().all()
    assert (groups["concentration"] == 2.0).all()


def test_stops_alike_are_together():
    """Two heaps of places, each cut at two speeds: no group mixes heaps or speeds, though each speed lies all over its heap."""
    rng = np.random.default_rng(2)
    heap, fast = rng.integers(2, size=640), rng.integers(2, size=640)
    groups = grouped(stops_of(rng.uniform(0, 20, (640, 2)) + 2000.0 * heap[:, None], 1.0 + 2.0 * fast))
    assert set(np.round(groups["speed_m_s"], 9)) == {1.0, 3.0}
    assert ((groups.geometry.x < 20.1) | (groups.geometry.x > 1999.9)).all()
