"""What a season leaves beside its fields."""

from __future__ import annotations

import csv
import io
import json

import geopandas as gpd
import pytest
import shapely
from geopandas.testing import assert_geoseries_equal

from lossmap.base.errors import WriteError
from lossmap.base.tables import SEASON
from lossmap.report import SEASON_FILES, said_of_season, values_of_season, write_season
from lossmap.report.season.files import csv_of_season, geojson_of_season
from report.made_seasons import made_season, with_field


def test_the_files_are_written(tmp_path):
    """All of them and no other, the summary as its values; a folder that is not there is refused."""
    season = made_season()
    write_season(season, tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(SEASON_FILES)
    assert json.loads((tmp_path / "summary.json").read_text(encoding="utf-8")) == values_of_season(season)
    assert (tmp_path / "season.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    with pytest.raises(WriteError, match=r"season\.html: cannot be written"):
        write_season(season, tmp_path / "nowhere")


def test_the_parquet_is_the_table(tmp_path):
    """GeoParquet in SI, read back under its contract, outlines and all."""
    season = made_season()
    write_season(season, tmp_path)
    back = gpd.read_parquet(tmp_path / "season.parquet")
    assert list(back.columns)[: len(SEASON.columns)] == [column.name for column in SEASON.columns]
    SEASON.check(back)
    assert_geoseries_equal(back.geometry, season.fields.geometry)
    assert back["total_kg_ha"].tolist()[:14] == season.fields["total_kg_ha"].tolist()[:14]


def test_outlines_are_right_handed_and_failed_fields_have_none():
    """RFC 7946: counter-clockwise outer rings in degrees, null where there is no place, totals beside."""
    season = made_season()
    backwards = season.fields.to_crs("EPSG:32615")
    backwards["geometry"] = [shape.reverse() for shape in backwards.geometry]
    features = geojson_of_season(type(season)(season.name, backwards, season.pooled, season.settings, season.made_on))["features"]
    assert [feature["geometry"] is None for feature in features] == [False] * 14 + [True] * 2
    for feature, outline in zip(features, season.fields.geometry[:14], strict=False):
        shape = shapely.geometry.shape(feature["geometry"])
        assert shape.exterior.is_ccw
        assert shape.symmetric_difference(outline).area < 1e-3 * outline.area
    assert features[0]["properties"]["total_kg_ha"] == season.fields["total_kg_ha"].iloc[0]
    assert features[0]["properties"]["total_bu_ac"] == pytest.approx(features[0]["properties"]["total_kg_ha"] / 62.768, rel=1e-4)
    assert features[-1]["properties"]["error"].startswith("wet-piece-2")
    assert "crs" not in geojson_of_season(season)
    json.dumps(features, allow_nan=False)


def test_the_table_has_a_row_a_field():
    """Every column of the table, empty where not known, bushels beside; with no field at all the head alone."""
    season = made_season()
    rows = list(csv.DictReader(io.StringIO(csv_of_season(season))))
    assert [row["field_id"] for row in rows] == list(season.fields["field_id"])
    assert float(rows[0]["total_kg_ha"]) == season.fields["total_kg_ha"].iloc[0]
    assert list(rows[0])[list(rows[0]).index("total_kg_ha") + 1] == "total_bu_ac"
    assert rows[-1]["total_kg_ha"] == rows[-1]["total_bu_ac"] == ""
    assert rows[-1]["error"].endswith("or name it in field.toml")
    assert csv_of_season(made_season(0, 0)) == ",".join(column.name for column in SEASON.columns) + "\n"


@pytest.mark.parametrize("evil", ["=HYPERLINK(1)", "+1", "-1+cmd", "@SUM(A1)", "\t=1", "\r=1"])
def test_text_is_no_formula(evil):
    """In every column that holds words of a file."""
    words = {"name": evil, "field_id": evil, "header": evil, "machine": evil, "operator": evil, "variety": evil, "error": ""}
    rows = list(csv.DictReader(io.StringIO(csv_of_season(with_field(made_season(), 0, **words)), newline="")))
    for name in ("name", "field_id", "header", "machine", "operator", "variety"):
        assert rows[0][name] == f"'{evil}"


def test_same_season_same_bytes(tmp_path):
    """Every file, twice."""
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        write_season(made_season(), tmp_path / name)
    for name in SEASON_FILES:
        assert (tmp_path / "first" / name).read_bytes() == (tmp_path / "second" / name).read_bytes()


def test_the_line_for_the_command():
    """One line."""
    assert "\n" not in said_of_season(made_season())
