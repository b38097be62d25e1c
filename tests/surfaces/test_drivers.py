"""Speed and moisture at stops and cells: what goes before what, and why a driver is left out."""

import geopandas as gpd
import numpy as np
import pyproj
import pytest

from lossmap.base.grid import Grid, Surface
from lossmap.base.settings import ZoneSettings
from lossmap.surfaces.drivers import Drivers, knots

GRID = Grid(pyproj.CRS(32615), 0.0, 40.0, 10.0, 4, 4)
INSIDE = np.ones(GRID.shape, bool)
# speed rises to the east, 1 to 4 m/s
SPEED = np.tile(np.arange(1.0, 5.0, dtype=np.float32), (4, 1))


def layer(values):
    """The speed layer of a log."""
    return {"speed_m_s": Surface("speed_m_s", "m/s", GRID, values, values, values)}


def stops(easting, speed=None):
    """Stops along the middle of the second row."""
    columns = {} if speed is None else {"speed_m_s": speed}
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(easting, np.full(len(easting), 25.0)), crs=GRID.crs)


def test_a_stop_has_its_own_speed_else_its_cell_s():
    """One that was joined to the log keeps what it says; others, and those beyond the grid, take the nearest cell's."""
    losses = stops([5.0, 15.0, 900.0], [9.0, np.nan, np.nan])
    found = Drivers.of(losses, layer(SPEED), GRID, INSIDE, "")
    assert found.at_stops["speed"].tolist() == [9.0, 2.0, 4.0]
    assert found.cell_of_stop.tolist() == [4, 5, 7]
    assert found.at_stops["dryness"] is None


def test_gaps_are_filled_from_the_nearest():
    """A hole in the layer takes its neighbours' value, and cells outside the field are left out."""
    holed, inside = SPEED.copy(), INSIDE.copy()
    holed[:, 3], inside[0] = np.nan, False
    found = Drivers.of(stops([5.0, 15.0]), layer(holed), GRID, inside, "")
    assert found.layers["speed"][2].tolist() == [1.0, 2.0, 3.0, 3.0]
    assert found.at_cells["speed"].tolist() == [1.0, 2.0, 3.0, 3.0] * 3


@pytest.mark.parametrize(
    ("layers", "easting", "too_few", "why"),
    [
        ({}, [5.0, 15.0], "", "the log has no ground speed"),
        (layer(np.full((4, 4), np.nan, np.float32)), [5.0, 15.0], "", "the log has no ground speed"),
        (layer(SPEED), [5.0, 15.0], "2 stops are", "2 stops are too few to compare places"),
        (layer(SPEED), [5.0, 6.0], "", "ground speed is the same at all stops"),
    ],
)
def test_a_driver_left_out_says_why(layers, easting, too_few, why):
    """No layer, one without values, too few stops, stops all alike: no values, and the reason in words."""
    found = Drivers.of(stops(easting), layers, GRID, INSIDE, too_few)
    assert found.why_not["speed"] == why
    assert found.at_stops["speed"] is found.at_cells["speed"] is None
    assert "speed" not in found.layers


def test_knots_are_the_setting_or_parts_of_the_field():
    """A reference that is set is the only one; else quantiles: slow and middle speeds, wet and middle moistures."""
    everywhere = np.append(np.linspace(1.0, 2.0, 101), np.nan)
    assert knots("speed", everywhere, ZoneSettings()) == pytest.approx((1.1, 1.35, 1.6))
    assert knots("dryness", everywhere, ZoneSettings()) == pytest.approx((1.4, 1.65, 1.9))
    assert knots("speed", everywhere, ZoneSettings(speed_above="2.5 m/s")) == (2.5,)
    assert knots("speed", None, ZoneSettings()) == ()
