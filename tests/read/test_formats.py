"""Every format says the same, and the damage of each is told alike."""

from __future__ import annotations

import geopandas as gpd
import pytest
import shapely

from lossmap.base.errors import ReadError
from lossmap.read import read_field, read_points


@pytest.mark.parametrize("name", ["points.geojson", "points.gpkg", "points.shp.zip", "points.fgb", "points.parquet"])
def test_every_format_gives_the_same_table(field_folder, tmp_path, name):
    """GeoJSON, GeoPackage, zipped Shapefile, FlatGeobuf and GeoParquet say what the CSV says."""
    expected = read_points(read_field(field_folder())).table
    frame = gpd.GeoDataFrame(
        {"flow": [30.0, 31.0, 32.0], "moisture": [17.0] * 3, "speed": [5.0] * 3, "seconds": [1.0] * 3},
        geometry=shapely.points(expected.geometry.x, expected.geometry.y),
        crs="EPSG:4326",
    )
    file = tmp_path / name
    frame.to_parquet(file) if name.endswith("parquet") else frame.to_file(file)
    keys = (
        '[points.columns]\nmass_flow = { column = "flow", unit = "lb/s" }\nspeed = { column = "speed", unit = "mph" }\n'
        'interval = { column = "seconds", unit = "s" }'
    )
    table = read_points(read_field(field_folder(points=file.read_bytes(), points_name=name, points_keys=keys, name="other"))).table
    # FlatGeobuf's index reorders records; each must still have its own values
    table = table.iloc[table.geometry.y.argsort().to_numpy()]
    assert table.crs.to_epsg() == 4326
    for column in ("mass_flow_kg_s", "moisture_pct", "speed_m_s"):
        assert table[column].tolist() == pytest.approx(expected[column].tolist())
    assert table.geometry.x.tolist() == pytest.approx(expected.geometry.x.tolist())
    assert table.geometry.y.tolist() == pytest.approx(expected.geometry.y.tolist())


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("points.csv", b"", "is empty (0 bytes)"),
        ("points.xlsx", b"PK", "is no file lossmap reads"),
        ("points.gpkg", b"not a database", "cannot be read as .gpkg"),
        ("points.parquet", b"PAR1 no", "cannot be read as .parquet"),
        ("points.zip", b"PK\x03\x04 broken", "cannot be read as .zip"),
        ("points.geojson", b'{"type": "FeatureCollection", "features": [', "cannot be read as .geojson"),
        ("points.fgb", b"fgb", "cannot be read as .fgb"),
    ],
)
def test_a_broken_file_of_every_format_is_refused(field_folder, name, content, message):
    """Foreign errors never come through: each format's damage is one ReadError."""
    with pytest.raises(ReadError, match=r"creek/points") as refused:
        read_points(read_field(field_folder(points=content, points_name=name)))
    assert message in str(refused.value)


def test_a_missing_number_is_a_gap_in_every_format(field_folder, tmp_path):
    """missing = ["1e15"] takes a machine's sentinel out of text tables and of typed ones alike."""
    text = (field_folder() / "points.csv").read_text()
    folder = field_folder(points=text.replace("41.90002,31", "41.90002,1e15"), points_keys='missing = ["1e15"]')
    assert read_points(read_field(folder)).table["mass_flow_kg_s"].isna().tolist() == [False, True, False]
    frame = gpd.GeoDataFrame(
        {"mass flow (lb/s)": [30.0, 1e15, 32.0], "machine": ["red", "red", "none"]}, geometry=shapely.points([1, 1, 1], [2, 2, 2]), crs=4326
    )
    frame.to_file(tmp_path / "log.gpkg")
    content = (tmp_path / "log.gpkg").read_bytes()
    folder = field_folder(points=content, points_name="log.gpkg", points_keys='missing = ["1e15", "none"]', name="other")
    table = read_points(read_field(folder)).table
    assert table["mass_flow_kg_s"].isna().tolist() == [False, True, False]
    assert table["machine"].tolist() == ["red", "red", ""]
