"""Stops with the speed at which they were cut, and surfaces as cells."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from lossmap.base.grid import Grid, Surface
from lossmap.base.tables import LOSSES
from lossmap.join import cells, stops_with_drive

UTM = pyproj.CRS.from_epsg(32615)


def losses(x, y):
    """A LOSSES table of stops at these places."""
    columns = {column.name: np.full(len(x), 1.0) for column in LOSSES.columns if column.kind == "number" and not column.optional}
    texts = {"stop_id": [str(i) for i in range(len(x))], "note": [""] * len(x)}
    return gpd.GeoDataFrame({**columns, **texts}, geometry=shapely.points(x, y), crs=UTM)


def log(speed, flag):
    """Records a metre apart along a line east."""
    return gpd.GeoDataFrame(
        {"speed_m_s": speed, "moisture_pct": np.full(len(speed), 14.0), "flag": flag},
        geometry=shapely.points(np.arange(len(speed)), 0.0),
        crs=UTM,
    )


def test_a_stop_takes_the_median_of_believed_records_near_it():
    """Flagged records and far ones do not count; one odd record does not move a stop's speed."""
    speed = np.full(40, 2.0)
    speed[3] = 9.0
    flag = [""] * 40
    flag[5] = "pass end"
    out = stops_with_drive(losses([5.0, 500.0], [1.0, 1.0]), log(speed, flag), 12.0)
    assert out["speed_m_s"].iloc[0] == 2.0
    assert np.isnan(out["speed_m_s"].iloc[1])
    assert out["moisture_pct"].iloc[0] == 14.0


def test_without_a_log_stops_know_no_speed():
    """A field without a log leaves speed missing, not zero."""
    empty = log(np.array([]), [])
    assert np.isnan(stops_with_drive(losses([5.0], [1.0]), empty, 12.0)["speed_m_s"]).all()


def test_cells_are_the_surfaces_rows():
    """Each cell inside has its place and the value of every surface, in the grid's order."""
    grid = Grid(UTM, 0.0, 20.0, 5.0, 4, 3)
    values = np.arange(12, dtype=np.float32).reshape(4, 3)
    loss = Surface("loss_kg_ha", "kg/ha", grid, values, values, values)
    speed = Surface("speed_m_s", "m/s", grid, values * 2, values, values)
    inside = values > 3
    table = cells({"loss_kg_ha": loss, "speed_m_s": speed}, inside)
    assert table["loss_kg_ha"].tolist() == list(range(4, 12))
    assert (table["speed_m_s"] == 2 * table["loss_kg_ha"]).all()
    assert (table.geometry.x.iloc[0], table.geometry.y.iloc[0]) == (7.5, 12.5)
    assert "moisture_pct" not in table
    assert loss.at(table.geometry.x.to_numpy(), table.geometry.y.to_numpy()) == pytest.approx(table["loss_kg_ha"].to_numpy())


def test_a_stop_takes_its_own_pass_not_the_neighbours():
    """Nine metres aside a pass ran twice as fast: the stop has the speed of the pass it lies in."""
    slow, fast = log(np.full(60, 2.0), [""] * 60), log(np.full(60, 4.0), [""] * 60)
    fast = fast.set_geometry(shapely.points(np.arange(60), 9.0), crs=UTM)
    both = gpd.GeoDataFrame(pd.concat([slow.assign(pass_id=1), fast.assign(pass_id=2)], ignore_index=True), crs=UTM)
    out = stops_with_drive(losses([30.0, 30.0], [3.0, 6.0]), both, 12.0)
    assert out["speed_m_s"].tolist() == [2.0, 4.0]
