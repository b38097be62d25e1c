"""The table of a plan says where, how and why."""

from __future__ import annotations

import numpy as np
import pytest
from stops.made_ground import CRS, ground_of

from lossmap.stops import Ground, Picked, farthest, plan_table


def test_the_table_says_where_and_how():
    """Names go on behind counted ones, parts of the field and shares of the ground are right, the nearest is counted or of higher rank."""
    places_m = np.array([[0.0, 0.0], [100.0, 100.0], [200.0, 200.0], [100.0, 0.0]]) + np.array([412_000.0, 4_655_000.0])
    ground = Ground(CRS, places_m, np.array([1.0, 2.0, 3.0, np.nan]), None)
    picked = Picked(np.array([2, 1, 3]), ("speed", "place", "place"))
    table = plan_table(ground, picked, places_m[:1], ["P7", " p003 ", "north", "P123456"], 4)
    assert table["stop"].tolist() == ["P8", "P9", "P10"]
    assert table["rank"].tolist() == [1, 2, 3]
    assert table["part"].tolist() == ["north-east", "middle", "south"]
    assert table["nearest_m"].tolist() == pytest.approx([200 * 2**0.5, 100 * 2**0.5, 100.0])
    assert table["speed_rank_pct"].tolist() == pytest.approx([100 * 5 / 6, 50.0, np.nan], nan_ok=True)
    assert "moisture_pct" not in table


def test_the_first_of_all_has_no_neighbour():
    """Before any count the most useful stop has nothing near it, and is told so by a gap."""
    ground = ground_of(6, known=False)
    table = plan_table(ground, farthest(ground, 3), np.empty((0, 2)), (), 4)
    assert np.isnan(table["nearest_m"].iloc[0])
    assert table["nearest_m"].iloc[1:].notna().all()
    assert set(table["reason"]) == {"place"}
