"""A farm from its files to its order, and again the next day."""

from __future__ import annotations

import datetime
import json
import re

import jsonschema
import pytest
from drydown.made_farms import ON, days, made, quick

from lossmap.base.errors import SettingsError, TooLittleData
from lossmap.pipelines.rank_fields import rank_fields
from lossmap.synthetic_farm import write_farm


@pytest.fixture
def farm_folder(tmp_path):
    """A made farm's folder on the day of the plan."""
    folder = tmp_path / "made-farm"
    write_farm(made(), folder, ON)
    return folder


def test_files_to_order(farm_folder, tmp_path, root):
    """Four files in a folder of the farm's name; the summary keeps to its schema; a forecast of four days was believed."""
    done = rank_fields(farm_folder, quick(), tmp_path / "out", ON)
    assert done.file == tmp_path / "out" / "made-farm" / "ranking.html"
    assert sorted(path.name for path in done.file.parent.iterdir()) == ["ranking.csv", "ranking.geojson", "ranking.html", "summary.json"]
    summary = json.loads((done.file.parent / "summary.json").read_text())
    jsonschema.validate(summary, json.loads((root / "shared" / "schemas" / "ranking.schema.json").read_text()))
    assert summary == json.loads(json.dumps(done.values))
    assert summary["forecast_days"] == 4
    assert set(summary["inputs_sha256"]) == {"farm.toml", "weather.csv", "history.csv", "readings.csv"}
    assert done.sentence.startswith(("Go to ", "Wait until "))


def test_again_with_new_readings_and_a_field_cut(farm_folder, tmp_path):
    """The same command a few days later: what was cut and measured is said, and the cut field is gone."""
    first = rank_fields(farm_folder, quick(), tmp_path / "out", ON)
    gone, measured = (first.values["fields"][rank]["field"] for rank in (0, 1))
    with (farm_folder / "readings.csv").open("a") as opened:
        opened.write(f"{gone},{days(2)},,yes\n{measured},{days(3)},15.0,\n")
    write = farm_folder / "weather.csv"
    again = rank_fields(farm_folder, quick(), tmp_path / "out", days(3))
    assert gone not in [row["field"] for row in again.values["fields"]]
    assert again.values["changed"][0] == f"Cut since 25 Sep: {gone}."
    assert again.values["changed"][1].startswith(f"New readings: {measured} (15.0 %, was ")
    assert "What changed since the last plan" in again.file.read_text()
    assert write.exists()


def test_a_refused_plan_leaves_the_earlier_one(farm_folder, tmp_path):
    """A future reading is refused; the results stay as they were."""
    rank_fields(farm_folder, quick(), tmp_path / "out", ON)
    before = (tmp_path / "out" / "made-farm" / "ranking.csv").read_bytes()
    with (farm_folder / "readings.csv").open("a") as opened:
        opened.write(f"{made().farm.fields[0].name},{days(9)},15.0,\n")
    with pytest.raises(SettingsError, match=r"was measured on 2025-10-04, after the day of the plan \(2025-09-25\)"):
        rank_fields(farm_folder, quick(), tmp_path / "out", ON)
    assert (tmp_path / "out" / "made-farm" / "ranking.csv").read_bytes() == before


def test_without_past_weather(farm_folder, tmp_path):
    """A season alone says nothing of what may come."""
    facts = farm_folder / "farm.toml"
    facts.write_text(facts.read_text().replace('history = "history.csv"\n', ""))
    with pytest.raises(TooLittleData, match=re.escape("0 past years hold the days from 25 Sep to 08 Dec (none); 5 are needed")):
        rank_fields(farm_folder, quick(), tmp_path / "out", ON)


def test_not_among_other_results(farm_folder, tmp_path):
    """A folder with a field's results, or the farm's own, is left alone."""
    with pytest.raises(SettingsError, match="is the field's own folder"):
        rank_fields(farm_folder, quick(), farm_folder.parent, ON)
    mapped = tmp_path / "out" / "made-farm"
    mapped.mkdir(parents=True)
    (mapped / "summary.json").write_text('{"field": "Quarry"}')
    with pytest.raises(SettingsError, match="holds the results of a field"):
        rank_fields(farm_folder, quick(), tmp_path / "out", ON)


def test_today_is_the_day_by_default(farm_folder, tmp_path):
    """Without --on the plan is of today: readings of another year are refused as too old."""
    if datetime.date.today() <= ON + datetime.timedelta(days=120):
        pytest.skip("the made farm's season is not over yet")
    with pytest.raises(SettingsError, match="its last reading is of 2025-09-25, more than 120 days before"):
        rank_fields(farm_folder, quick(), tmp_path / "out")
