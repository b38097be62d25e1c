from __future__ import annotations

import json

import geopandas as gpd
import pytest
import shapely

from lossmap.base.errors import ReadError
from lossmap.read import read_boundary, read_field

SQUARE = [[-93.6, 41.9], [-93.599, 41.9], [-93.599, 41.901], [-93.6, 41.901], [-93.6, 41.9]]
HOLE = [[-93.5997, 41.9003], [-93.5997, 41.9006], [-93.5993, 41.9006], [-93.5993, 41.9003], [-93.5997, 41.9003]]


def boundary(field_folder, geometry):
    """The boundary of a field whose outline is this GeoJSON geometry."""
    folder = field_folder(facts='name = "Made creek"\ncrop = "corn"\nheader_width = "30 ft"\nboundary = "edge.geojson"\n')
    (folder / "edge.geojson").write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": geometry}))
    return read_boundary(read_field(folder))


def test_holes_stay_holes(field_folder):
    """A pond inside the field is not field."""
    edge = boundary(field_folder, {"type": "Polygon", "coordinates": [SQUARE, HOLE]})
    full = boundary(field_folder, {"type": "Polygon", "coordinates": [SQUARE]})
    assert edge.geometry.iloc[0].area < full.geometry.iloc[0].area
    assert len(edge.geometry.iloc[0].interiors) == 1


def test_a_ring_that_crosses_itself_is_mended(field_folder):
    """A bow-tie outline becomes valid polygons of the same edge."""
    bow_tie = [SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3], SQUARE[0]]
    edge = boundary(field_folder, {"type": "Polygon", "coordinates": [bow_tie]})
    assert edge.geometry.iloc[0].is_valid
    assert edge.geometry.iloc[0].area == pytest.approx(0.001 * 0.001 / 2)


def test_a_line_is_no_boundary(field_folder):
    """A file without polygons is refused with what it holds."""
    with pytest.raises(ReadError, match=r"holds no polygon with an area \(found LineString\)"):
        boundary(field_folder, {"type": "LineString", "coordinates": SQUARE})


def test_no_boundary_is_none(field_folder):
    """The boundary is optional."""
    assert read_boundary(read_field(field_folder())) is None


def test_a_fiboa_boundary_is_read_and_its_stated_area_is_not(field_folder):
    """A GeoParquet field boundary by the fiboa schema (0.3) gives its polygon; a wrong metrics:area in it changes nothing."""
    folder = field_folder(facts='name = "Made creek"\ncrop = "corn"\nheader_width = "30 ft"\nboundary = "edge.parquet"\n')
    table = gpd.GeoDataFrame(
        {"id": ["1"], "collection": ["made"], "metrics:area": [5.0]}, geometry=[shapely.Polygon(SQUARE, [HOLE])], crs="EPSG:4326"
    )
    table.to_parquet(folder / "edge.parquet")
    edge = read_boundary(read_field(folder))
    assert edge.to_crs("EPSG:32615").area.iloc[0] == pytest.approx(8_103, rel=0.005)
    assert len(edge.geometry.iloc[0].interiors) == 1
