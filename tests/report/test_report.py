"""The stage's face."""

from __future__ import annotations

import json
import pickle
import tomllib
from pathlib import Path

import pytest

from lossmap.base.errors import WriteError
from lossmap.base.field import FieldMap
from lossmap.read import results_sha256
from lossmap.report import FILES, READ_BACK, write

CONTRACT = {
    "points.parquet",
    "stops.geojson",
    "surfaces.tif",
    "cells.parquet",
    "zones.geojson",
    "map.html",
    "report.html",
    "summary.json",
    "evidence.json",
    "run.toml",
}


def test_every_file_of_the_contract_is_written_and_no_other(field_map: FieldMap, tmp_path: Path) -> None:
    """Ten files, each whole."""
    written = write(field_map, tmp_path, {"read": 0.5})
    assert [path.name for path in written] == list(FILES)
    assert set(FILES) == CONTRACT == {path.name for path in tmp_path.iterdir()}
    assert json.loads((tmp_path / "summary.json").read_text(encoding="utf-8"))["zones"] == 2
    run = tomllib.loads((tmp_path / "run.toml").read_text(encoding="utf-8"))
    assert run["seconds"] == {"read": 0.5}
    assert run["results_sha256"] == results_sha256(tmp_path)
    assert set(run["results_sha256"]) == set(READ_BACK)


def test_twice_the_same_bytes(field_map: FieldMap, tmp_path: Path) -> None:
    """Outputs can be compared by their bytes."""
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        write(field_map, tmp_path / name, {"read": 0.5})
    for name in FILES:
        assert (tmp_path / "first" / name).read_bytes() == (tmp_path / "second" / name).read_bytes(), name


def test_hostile_text_breaks_no_file(hostile_map: FieldMap, tmp_path: Path) -> None:
    """All ten are written, and nothing beside them."""
    write(hostile_map, tmp_path, {})
    assert {path.name for path in tmp_path.iterdir()} == CONTRACT


@pytest.mark.parametrize("name", ["points.parquet", "stops.geojson", "surfaces.tif", "map.html"])
def test_a_disk_that_refuses_is_our_refusal(field_map: FieldMap, tmp_path: Path, name: str) -> None:
    """Each kind of writer's foreign error becomes a WriteError with the path, which survives a trip between processes."""
    (tmp_path / name).mkdir()
    with pytest.raises(WriteError) as refused:
        write(field_map, tmp_path, {})
    text = str(pickle.loads(pickle.dumps(refused.value)))
    assert text.startswith(f"{tmp_path / name}: cannot be written")
    assert text.endswith("; check that the folder exists, is writable and has room")


def test_a_folder_that_is_not_there_is_a_refusal(field_map: FieldMap, tmp_path: Path) -> None:
    """The caller makes the folder."""
    with pytest.raises(WriteError):
        write(field_map, tmp_path / "missing", {})
    assert not list(tmp_path.iterdir())
