"""One field of a season: a row whatever comes of it."""

from __future__ import annotations

import pickle

import pandas as pd
import pytest
import shapely
from planted_fields import plant, spoil

from lossmap.base.settings import Settings
from lossmap.base.tables import SEASON
from lossmap.pipelines import season_field
from lossmap.pipelines.season_field import Job, failed_row, field_row


@pytest.fixture
def job(tmp_path):
    """A tiny field and where its results go."""
    return Job("hill", plant(tmp_path / "farm", "hill") / "hill", tmp_path / "out" / "hill", Settings())


def test_mapped_then_taken_over(job):
    """The second row says the same, and that nothing was made."""
    first, second = field_row(job), field_row(job)
    assert (first["remade"], second["remade"]) == (1, 0)
    same = {name for name in first if name not in ("remade", "seconds", "loss_usd")}  # without a price nobody knows the last
    assert {name: first[name] for name in same} == {name: second[name] for name in same}
    assert {column.name for column in SEASON.columns} | {"geometry", "evidence"} == set(first)
    assert len(pickle.dumps(first)) < 8000  # what a worker hands back for each field


def test_a_refusal_is_a_row(job):
    """In the words of the refusal, all of them on one line."""
    (job.folder / "field.toml").write_text('name = "Hill"\ncrop = "krn"\nheader_width = "30"\n')
    row = field_row(job)
    assert row["name"] == "Hill"
    assert "header_width" in row["error"]
    assert "\n" not in row["error"]
    assert row["geometry"] == shapely.Polygon()
    assert pd.isna(row["total_kg_ha"])


def test_a_disk_that_fails_is_a_row(job, monkeypatch):
    """An error of the system itself, with its file."""

    def fails(path):
        raise OSError(5, "Input/output error", "points.csv")

    monkeypatch.setattr(season_field, "read_field", fails)
    assert field_row(job)["error"] == "points.csv: cannot be used (Input/output error); make sure it is there and run again"


def test_a_failed_row_knows_of_an_earlier_map(job):
    """And of none."""
    assert failed_row(job, "it failed")["error"] == "it failed"
    field_row(job)
    spoil(job.folder)
    assert failed_row(job, "it failed")["error"] == "it failed (the map in its folder is of an earlier run)"
