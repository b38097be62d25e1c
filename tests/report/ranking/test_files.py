"""ranking.csv, ranking.geojson and summary.json."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

import pytest
import shapely
from drydown.made_farms import ranked

from lossmap.base.errors import WriteError
from lossmap.report import RANKING_FILES, said_of_ranking, values_of_ranking, write_ranking
from lossmap.report.ranking.files import csv_of_ranking, geojson_of_ranking


def test_the_files_are_written(tmp_path):
    """All four; without places no map of points."""
    write_ranking(ranked(), ["New."], tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(RANKING_FILES)
    assert json.loads((tmp_path / "summary.json").read_text())["changed"] == ["New."]
    ranking = ranked()
    fields = tuple(dataclasses.replace(of, field=dataclasses.replace(of.field, place=None)) for of in ranking.fields)
    other = tmp_path / "other"
    other.mkdir()
    write_ranking(dataclasses.replace(ranking, fields=fields), [], other)
    assert not (other / "ranking.geojson").exists()
    with pytest.raises(WriteError, match=r"ranking\.csv: cannot be written"):
        write_ranking(ranking, [], tmp_path / "nowhere")


def test_the_table_is_the_summary():
    """One row a field in its order, the numbers of the summary, contract's columns with their intervals."""
    ranking = ranked()
    rows = list(csv.DictReader(io.StringIO(csv_of_ranking(ranking))))
    values = values_of_ranking(ranking)["fields"]
    assert [row["field"] for row in rows] == [of.field.name for of in ranking.fields]
    for row, value in zip(rows, values, strict=True):
        for name in ("wait_usd_ac_day", "wait_kg_ha_day", "wait_bu_ac_day", "moisture_pct"):
            assert float(row[name]) == value[name]["mean"]
            assert float(row[f"{name}_low"]) <= float(row[name]) <= float(row[f"{name}_high"])
        assert row["cut_on"] == value["cut_on"]
        assert row["why"].startswith("A week of waiting")
        assert value["wait_usd_ac_day"]["mean"] == pytest.approx(value["wait_usd_ha_day"]["mean"] * 0.404686, rel=1e-4)
        assert value["wait_bu_ac_day"]["mean"] == pytest.approx(
            value["wait_kg_ha_day"]["mean"] / (62.768 if value["crop"] == "corn" else 67.251), rel=1e-3
        )


def test_a_name_is_no_formula():
    """A field called =1+1 stands in the table as text."""
    ranking = ranked()
    first = dataclasses.replace(ranking.fields[0], field=dataclasses.replace(ranking.fields[0].field, name="=1+1"))
    rows = list(csv.DictReader(io.StringIO(csv_of_ranking(dataclasses.replace(ranking, fields=(first, *ranking.fields[1:]))))))
    assert rows[0]["field"] == "'=1+1"


def test_places_are_on_the_map():
    """A point for each field, or its outline with a right-hand ring, with the table's columns."""
    ranking = ranked()
    square = shapely.box(-93.41, 42.3, -93.4, 42.31).reverse()
    first = dataclasses.replace(ranking.fields[0], field=dataclasses.replace(ranking.fields[0].field, outline=square))
    features = geojson_of_ranking(dataclasses.replace(ranking, fields=(first, *ranking.fields[1:])))["features"]
    assert [feature["geometry"]["type"] for feature in features] == ["Polygon", *["Point"] * 5]
    assert shapely.geometry.shape(features[0]["geometry"]).exterior.is_ccw
    assert features[1]["properties"]["rank"] == 2
    json.dumps(features, allow_nan=False)


def test_same_plan_same_bytes():
    """Nothing of the clock is in the files."""
    assert csv_of_ranking(ranked()) == csv_of_ranking(ranked())
    assert values_of_ranking(ranked()) == values_of_ranking(ranked())


def test_the_line_for_the_command():
    """The headline and what a day costs, in one."""
    line = said_of_ranking(ranked())
    assert "\n" not in line
    assert ranked().fields[0].field.name in line
