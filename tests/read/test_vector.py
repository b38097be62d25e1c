from __future__ import annotations

import geopandas as gpd
import pytest
import shapely

from lossmap.base.errors import ReadError
from lossmap.read.vector import read_places


def frame(geometry):
    """Two features."""
    return gpd.GeoDataFrame({"a": [1, 2]}, geometry=geometry, crs="EPSG:4326")


def test_layers_are_asked_for_by_name(tmp_path):
    """A GeoPackage of two layers needs one named; a wrong name gets the nearest."""
    file = tmp_path / "two.gpkg"
    frame(shapely.points([0, 1], [0, 1])).to_file(file, layer="log")
    frame(shapely.points([2, 3], [0, 1])).to_file(file, layer="extra")
    with pytest.raises(ReadError, match=r"has 2 layers \(log, extra\); name one with layer = "):
        read_places(file, "two.gpkg")
    with pytest.raises(ReadError, match="has no layer logg; did you mean log\\?"):
        read_places(file, "two.gpkg", "logg")
    assert read_places(file, "two.gpkg", "extra").x.tolist() == [2.0, 3.0]


def test_polygons_are_no_points(tmp_path):
    """A layer of polygons is refused by its first record."""
    file = tmp_path / "area.geojson"
    frame(shapely.box([0, 1], [0, 1], [1, 2], [1, 2])).to_file(file)
    with pytest.raises(ReadError, match=r"area.geojson, record 1: is a polygon, not a point"):
        read_places(file, "area.geojson")


def test_wrapped_points_are_points(tmp_path):
    """Multipoints of one point each are read as that point."""
    file = tmp_path / "multi.gpkg"
    frame(shapely.multipoints([[[5.0, 6.0]], [[7.0, 8.0]]])).to_file(file)
    assert read_places(file, "multi.gpkg").y.tolist() == [6.0, 8.0]


def test_a_plain_parquet_table_is_columns(tmp_path):
    """Parquet without geometry is read as a table whose places stand in columns."""
    file = tmp_path / "log.parquet"
    frame(shapely.points([0, 1], [0, 1])).drop(columns="geometry").to_parquet(file)
    raw = read_places(file, "log.parquet")
    assert raw.x is None
    assert raw.columns["a"].tolist() == [1, 2]


def test_a_layer_of_no_record_is_refused(tmp_path):
    """An export that came out empty is said to be so."""
    file = tmp_path / "none.gpkg"
    frame(shapely.points([0, 1], [0, 1])).iloc[:0].to_file(file, layer="log")
    with pytest.raises(ReadError, match=r"none\.gpkg: holds no record; check the export"):
        read_places(file, "none.gpkg")
