"""Seasons that are ended, on disks that are full or closed: fields are whole, earlier or new, and the next run is whole."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from endings import tried

from corpus import cases
from disks import bound_read_only, disk, read_only
from lossmap.report import FILES, SEASON_FILES

IDS = ("north/creek", "south/creek")


@pytest.mark.parametrize(("trial", "moments"), [("season", 4), ("season-worker", 2), ("season-int", 1), ("season-together", 1)])
def test_a_season_that_is_ended_leaves_whole_fields(trial: str, moments: int) -> None:
    """The driver killed at four moments, one worker at two, Ctrl-C, another run in the folder: nothing half, and the next run is whole."""
    tally = tried(trial, moments)
    assert tally["wrong"] == []
    assert tally["reruns"] >= moments
    assert tally["left"].get("half", 0) == 0


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """Two small fields of one name."""
    for field_id in IDS:
        place = tmp_path / "farm" / Path(field_id).parent
        place.mkdir(parents=True)
        cases.field(place, "\n".join([cases.HEAD, *cases.log_rows()]) + "\n")
    return tmp_path / "farm"


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """A disk of four megabytes."""
    with disk(tmp_path / "disk", "4m") as place:
        yield place


def season(farm: Path, out: Path, *more: str) -> tuple[int, list[str]]:
    """Exit code and what is said, of a season in a process of its own."""
    words = ["season", str(farm), "--out", str(out), "--cores", "1", "-q", *more]
    done = subprocess.run([sys.executable, "-m", "lossmap.pipelines", *words], capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr
    return done.returncode, done.stderr.splitlines()


def content(folder: Path) -> dict[str, bytes]:
    """Files below a folder by name, without the seconds of run.toml."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes().partition(b"[seconds]")[0]
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def filled(place: Path, left: int) -> Path:
    """A file that leaves so many bytes of the disk."""
    filler = place / "filler"
    with filler.open("wb", buffering=0) as out:
        while os.statvfs(place).f_bavail * os.statvfs(place).f_bsize > left + 4096:
            out.write(bytes(4096))
    return filler


def test_a_full_disk(farm: Path, small: Path) -> None:
    """Without room every field says so and all stays; with room for a field or two they are new or earlier, whole; then all is made."""
    assert season(farm, small)[0] == 0
    before, us = content(small), ("--set", "report.units=metric")
    of_field = sum(len(part) for name, part in before.items() if name.startswith("farm/north"))
    for left, codes in ((0, {2, 3}), (of_field // 2, {3}), (of_field * 3 // 2, {0, 2, 4})):
        filler = filled(small, left)
        code, said = season(farm, small, *us)
        filler.unlink()
        assert code in codes, (left, said)
        assert code == 0 or any("No space left on device" in line for line in said)
        after = content(small)
        assert set(after) == set(before)
        for field_id in IDS:
            own = {name for name in before if name.startswith(f"farm/{field_id}/")}
            changed = {name for name in own if after[name] != before[name]}
            assert not changed or f"farm/{field_id}/run.toml" in changed
            assert len({json.loads(after[f"farm/{field_id}/{name}"])["area_ha"] for name in ("summary.json", "evidence.json")}) == 1
        if code in (2, 3):
            assert all(after[f"farm/{name}"] == before[f"farm/{name}"] for name in SEASON_FILES)
    code, said = season(farm, small, *us)
    assert (code, said) == (0, [])
    assert all('units = "metric"' in content(small)[f"farm/{field_id}/run.toml"].decode() for field_id in IDS)


@pytest.mark.parametrize("closed", ["remounted", "bound"])
def test_a_disk_that_cannot_be_written_to(farm: Path, small: Path, tmp_path: Path, closed: str) -> None:
    """Code 2, one message before anything is mapped; nothing changes."""
    assert season(farm, small)[0] == 0
    before = content(small)
    with read_only(small) if closed == "remounted" else bound_read_only(small, tmp_path / "bound") as place:
        code, said = season(farm, place, "--again")
        assert code == 2
        assert said == [f"lossmap: {place}: cannot be written to (Read-only file system); give another --out"]
    assert content(small) == before


def test_a_disk_that_closes_on_the_way(farm: Path, small: Path) -> None:
    """Rights of one field's folder go: that field is a row with its reason, the other is mapped."""
    assert season(farm, small)[0] == 0
    (small / "farm" / "north").rename(small / "north")
    (small / "farm" / "north").write_text("a file where a folder was")
    code, said = season(farm, small)
    assert code == 4
    assert len(said) == 1
    assert said[0].startswith("north/creek: ")
    assert "give another --out" in said[0]
    assert {path.name for path in (small / "farm" / "south" / "creek").iterdir()} == set(FILES)
