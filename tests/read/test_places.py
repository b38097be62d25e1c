from __future__ import annotations

import numpy as np
import pandas as pd
import pyproj
import pytest

from lossmap.base.errors import ReadError
from lossmap.read.places import WGS84, degrees_of, places_of
from lossmap.read.raw import Detected, Raw

DEGREES = {role: Detected(role, role, "deg", "by its name", 1.0) for role in ("longitude", "latitude")}


def of_columns(longitude, latitude, crs=None):
    """Places of a file with these two columns."""
    return places_of(Raw("log.csv", pd.DataFrame({"longitude": longitude, "latitude": latitude}), 2), DEGREES, crs)


def metric(easting, northing, crs, unit_m=1.0):
    """Places of a file with these eastings and northings, one of their unit in metres."""
    roles = {role: Detected(role, role, "", "by its name", unit_m) for role in ("easting", "northing")}
    return places_of(Raw("log.csv", pd.DataFrame({"easting": easting, "northing": northing}), 2), roles, crs)


@pytest.mark.parametrize(
    ("longitude", "latitude", "crs", "message"),
    [
        (
            [41.9, 41.8],
            [-93.6, -93.5],
            None,
            "log.csv, row 2: longitude and latitude look swapped (latitude is -93.6); exchange the two",
        ),
        (
            [1.4e6, 1.4e6],
            [5e5, 5e5],
            "EPSG:4326",
            "log.csv, row 2: longitude 1.4e+06 is outside -180 to 180 (2 such rows); "
            "correct it, or set crs where the places are not in degrees",
        ),
        (
            [-93.6, -93.5],
            [41.9, 41.8],
            "EPSG:32615",
            "log.csv: crs EPSG:32615 is not in degrees, but its places are: those within +-180 are degrees, not metres "
            '(first -93.6, 41.9); set crs = "EPSG:4326" beside path in field.toml',
        ),
        (
            [-93.6],
            [41.9],
            "EPSG:4978",
            'log.csv: crs EPSG:4978 is no map of the ground; set crs = "EPSG:..." beside path in field.toml',
        ),
    ],
    ids=["swapped", "feet called degrees", "degrees called metres", "no map"],
)
def test_places_that_their_system_does_not_allow(longitude, latitude, crs, message):
    """Each mix-up of degrees, metres and the two columns has its own words."""
    with pytest.raises(ReadError) as refused:
        of_columns(longitude, latitude, crs)
    assert str(refused.value) == message


def test_one_wrong_latitude_is_not_a_swap():
    """A single value out of range is named as what it is."""
    with pytest.raises(ReadError, match=r"row 3: latitude 95 is outside -90 to 90; correct it"):
        of_columns([41.9, 41.9, 41.9], [41.9, 95.0, 41.9])


def test_a_geometry_without_a_system_asks_for_one():
    """Places of a geometry are found, what they count in is not."""
    raw = Raw("log.gpkg", pd.DataFrame({"v": [1.0]}), 1, np.array([450_000.0]), np.array([4_639_000.0]))
    with pytest.raises(ReadError) as refused:
        places_of(raw, {}, None)
    assert str(refused.value) == 'log.gpkg: does not say its coordinate system; set crs = "EPSG:..." beside path in field.toml'


def test_feet_of_a_system_stay_feet():
    """No unit, and feet, mean the feet of the system; metres are turned into them."""
    for value, by in ((2_000_000.0, 1.0), (2_000_000.0, 0.3048), (2_000_000.0 * 1200 / 3937, 1.0000001)):
        x, _, crs = metric([value], [value], "EPSG:2264", by)
        assert crs.to_epsg() == 2264
        assert x[0] == pytest.approx(2_000_000.0, rel=1e-6)


def test_degrees_are_the_same_place():
    """Web Mercator and state feet come back to the longitude and latitude they were made of."""
    for crs in ("EPSG:3857", "EPSG:2264", "EPSG:4267"):
        system = pyproj.CRS.from_user_input(crs)
        x, y = pyproj.Transformer.from_crs(WGS84, system, always_xy=True).transform(np.array([-79.0]), np.array([35.5]))
        assert degrees_of(x, y, system) == (pytest.approx([-79.0]), pytest.approx([35.5]))


def test_what_a_system_does_not_reach_is_a_gap():
    """A place off the map is not a number, never infinite."""
    longitude, latitude = degrees_of(np.array([1e12]), np.array([1e12]), pyproj.CRS.from_epsg(32615))
    assert np.isnan(longitude[0])
    assert np.isnan(latitude[0])
