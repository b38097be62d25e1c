"""A field's own metric system, and counts that are another field's."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from lossmap.base.errors import ReadError
from lossmap.project import near_together, off_the_field, project, utm_crs


def places(lon, lat, crs="EPSG:4326"):
    """A table of points."""
    return gpd.GeoDataFrame({"stop_id": [str(i) for i in range(len(lon))]}, geometry=shapely.points(lon, lat), crs=crs)


@pytest.mark.parametrize(("lon", "lat", "epsg"), [(-93.6, 41.9, 32615), (-93.6, -41.9, 32715), (179.9, 10, 32660), (-180.0, 10, 32601)])
def test_the_zone_of_the_middle(lon, lat, epsg):
    """Longitude gives the zone, the hemisphere the series."""
    assert utm_crs(places([lon], [lat])).to_epsg() == epsg


def test_one_lost_fix_does_not_move_the_field():
    """A record at (0, 0) leaves the zone of the others."""
    assert utm_crs(places([-93.6, -93.6, 0.0], [41.9, 41.9, 0.0])).to_epsg() == 32615


def test_a_metric_file_keeps_its_own_system():
    """What is already in metres is not moved to another zone."""
    table = places([450_000.0], [4_639_000.0], "EPSG:26915")
    assert utm_crs(table) == table.crs
    assert project(table, table.crs) is table


def test_feet_are_not_metres():
    """A projected system in US feet is not computed in."""
    table = places([4_900_000.0], [3_500_000.0], "EPSG:3417")
    assert utm_crs(table).to_epsg() in (32614, 32615)


def test_arrays_and_geometries_project_alike():
    """The quick way by arrays gives what point by point gives."""
    table = places(np.linspace(-93.7, -93.5, 50), np.linspace(41.8, 42.0, 50))
    crs = utm_crs(table)
    assert shapely.distance(project(table, crs).geometry.to_numpy(), table.to_crs(crs).geometry.to_numpy()).max() < 1e-6


def test_counts_of_another_field_are_refused():
    """Counts far from the log say how far, how many, and what it may be."""
    counts = project(places([-93.6, -97.6], [41.9, 41.9]), utm_crs(places([-93.6], [41.9])))
    with pytest.raises(ReadError, match=r"creek: stop 1 lies 33\d km from the field's log \(1 of 2 counts are more than 2 km off\)"):
        near_together(counts, counts.geometry.iloc[0], "log", "creek")
    near_together(counts.iloc[:1], counts.geometry.iloc[0], "log", "creek")


def test_stops_off_the_field_are_named():
    """A slip in the third decimal stays within the two kilometres of a field's counts, but is said; a headland's stop is not."""
    stops = project(places([-93.6, -93.6, -93.6], [41.9, 41.9003, 41.909]), utm_crs(places([-93.6], [41.9])))
    place = stops.geometry.iloc[0]
    (note,) = off_the_field(stops, place, "log", "creek")
    assert note.startswith("creek: 1 stop lies off the field (stop 2 is ")
    assert "m from its log): they count for its mean all the same" in note
    assert off_the_field(stops.iloc[:2], place, "log", "creek") == ()
    assert off_the_field(stops, place, "boundary", "creek")[0].count("boundary") == 1
    assert "2 of 2 stops lie" in off_the_field(stops.iloc[1:], shapely.Point(place.x, place.y - 60), "log", "creek")[0]


@pytest.mark.parametrize(
    ("own", "kept"), [("EPSG:3857", False), ("EPSG:3395", False), ("EPSG:25832", True), ("EPSG:5243", True), ("EPSG:3035", True)]
)
def test_metres_that_are_not_those_of_the_ground_are_not_computed_in(own, kept):
    """Truth: a hectare in Web Mercator comes out as a hectare, not as 2.7; a country's own metres stay."""
    hectare = gpd.GeoSeries([shapely.Point(11.2, 52.3)], crs=4326).to_crs(25832).buffer(50, cap_style="square")
    corners = shapely.get_coordinates(hectare.to_crs(own).to_numpy())[:-1]
    table = places(corners[:, 0], corners[:, 1], own)
    crs = utm_crs(table)
    assert (crs == table.crs) is kept
    area = shapely.Polygon(shapely.get_coordinates(project(table, crs).geometry.to_numpy())).area
    assert area == pytest.approx(10_000, rel=0.01)
