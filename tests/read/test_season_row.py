"""A field's row of a season is read back from its results, or they are refused."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import pytest

from corpus.results import FOUND, Spoilt
from fuzzing import seeds
from lossmap.base.errors import ReadError
from lossmap.base.tables import SEASON
from lossmap.read import read_evidence, read_season_row, results_sha256

OF_THE_RUN = {"field_id", "error", "remade", "seconds"}


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a map of a made field leaves."""
    folder = tmp_path_factory.mktemp("results")
    for name, content in seeds.results().items():
        (folder / name).write_bytes(content)
    return folder


@pytest.fixture
def spoilt(results: Path, tmp_path: Path) -> Any:
    """Writes the same results with one value of a file another, and gives their folder."""

    def spoil(name: str, where: tuple[Any, ...], value: Any) -> Path:
        for other in ("summary.json", "evidence.json"):
            (tmp_path / other).write_bytes((results / other).read_bytes())
        content = json.loads((results / name).read_text())
        inner = content
        for key in where[:-1]:
            inner = inner[key]
        inner[where[-1]] = value
        (tmp_path / name).write_text(json.dumps(content))
        return tmp_path

    return spoil


def test_a_row_is_what_the_files_say(results: Path) -> None:
    """Every column of a season but the run's own, the outline, and what is pooled."""
    row, summary = read_season_row(results), json.loads((results / "summary.json").read_text())
    assert set(row) == {column.name for column in SEASON.columns} - OF_THE_RUN | {"geometry", "evidence"}
    assert row["header_high_kg_ha"] == summary["loss"]["header"]["high_kg_ha"]
    assert row["evidence"] == read_evidence(results)
    assert row["geometry"] == row["evidence"].outline


def test_what_nobody_knows_is_no_number(spoilt: Any) -> None:
    """null is NaN."""
    row = read_season_row(spoilt("summary.json", ("loss", "header", "low_kg_ha"), None))
    assert math.isnan(row["header_low_kg_ha"])
    assert math.isfinite(row["header_high_kg_ha"])
    assert math.isnan(row["loss_usd"])
    assert read_season_row(spoilt("summary.json", ("money",), {"loss_usd": {"mean": 12.5}}))["loss_usd"] == 12.5


@pytest.mark.parametrize(
    ("where", "value", "said"),
    [
        (("crop",), "kelp", "summary.json and evidence.json are not of one map"),
        (("area_ha",), 1.0, "summary.json and evidence.json are not of one map"),
        (("stops",), 10**6, "summary.json and evidence.json are not of one map"),
        (("field_id",), "hill", "summary.json and evidence.json are not of one map"),
        (("area_ha",), -1.0, "summary.json: area_ha: must be above 0"),
        (("points", "read"), -1, "summary.json: points.read: must be at least 0"),
        (("points",), None, "summary.json: points: must be a table"),
        (("moisture_pct",), 101.0, "summary.json: moisture_pct: must be between 0 and 100"),
        (("yield_kg_ha",), math.nan, "summary.json: yield_kg_ha: must be a finite number"),
        (("speed_m_s",), "fast", "summary.json: speed_m_s: must be a valid number"),
        (("loss", "header", "mean_kg_ha"), 1e300, "summary.json: loss.header.mean_kg_ha: must be between"),
        (("loss",), {}, "summary.json: loss.total: is missing"),
        (("drivers", "speed", "verdict"), "is caused by", "summary.json: drivers.speed.verdict: must be 'tracks'"),
        (("drivers",), [], "summary.json: drivers: must be a table"),
        (("money",), {"loss_usd": {"mean": math.inf}}, "summary.json: money.loss_usd.mean: must be a finite number"),
    ],
)
def test_results_that_no_map_wrote_are_refused(spoilt: Any, where: tuple[Any, ...], value: Any, said: str) -> None:
    """Each with its place, the fault, and what to do."""
    folder = spoilt("summary.json", where, value)
    with pytest.raises(ReadError) as refused:
        read_season_row(folder)
    assert said in str(refused.value)
    assert str(refused.value).endswith("; map the field again")


@pytest.mark.parametrize("found", FOUND.values(), ids=FOUND)
def test_what_the_search_found_is_refused(spoilt: Any, found: Spoilt) -> None:
    """Each once broke the season that took it over."""
    folder = spoilt(found.file, found.where, found.value)
    with pytest.raises(ReadError) as refused:
        read_season_row(folder)
    assert str(refused.value).startswith(f"{folder.name}/{found.file}: {found.says}")


def test_files_that_are_missing_are_refused(tmp_path: Path) -> None:
    """By name."""
    with pytest.raises(ReadError, match=r"/summary.json: cannot be read \(No such file or directory\); map the field again"):
        read_season_row(tmp_path)


def test_results_are_known_again_by_their_bytes(results: Path, spoilt: Any) -> None:
    """SHA-256 of both files; one value another, and they differ in that file alone."""
    before = results_sha256(results)
    assert before["summary.json"] == hashlib.sha256((results / "summary.json").read_bytes()).hexdigest()
    after = results_sha256(spoilt("evidence.json", ("area_ha",), 1.0))
    assert [name for name in before if after[name] != before[name]] == ["evidence.json"]
