"""Runs that are ended, disks that are full or closed, files that go: what stood before stays, whole."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from endings import tried

from corpus import cases
from disks import disk, read_only


@pytest.mark.parametrize(("trial", "moments"), [("map", 8), ("map-int", 2), ("map-term", 2), ("together", 1)])
def test_a_run_that_is_ended_leaves_whole_results_or_none(trial: str, moments: int) -> None:
    """At eight moments kill -9, at two Ctrl-C and a polite kill, two runs at once: nothing half, and the next run is whole."""
    tally = tried(trial, moments)
    assert tally["wrong"] == []
    assert sum(tally["left"].values()) >= moments
    assert "half" not in tally["left"] or tally["left"]["half"] == 0


def test_results_take_their_place_whole_at_every_call() -> None:
    """Killed at each single call by which files are moved, results are the earlier or the new ones; what was taken goes back."""
    tally = tried("places")
    assert tally["wrong"] == []
    assert tally["moments"] > 50


def test_files_that_vanish_while_they_are_read() -> None:
    """Each input taken away at each call that touches it: one message that names it and its exit code, or it was read already."""
    tally = tried("vanished")
    assert tally["wrong"] == []
    assert tally["left"]["exit 3"] > 5


@pytest.fixture
def asked(tmp_path: Path) -> list[str]:
    """The command for a small made field, without --out."""
    cases.field(tmp_path, "\n".join([cases.HEAD, *cases.log_rows(120)]) + "\n")
    return [sys.executable, "-m", "lossmap.pipelines", "map", str(tmp_path / "creek"), "-q"]


def content(folder: Path) -> dict[str, bytes]:
    """Files by name."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_full_disk(asked: list[str], tmp_path: Path) -> None:
    """With no room, with room for the first file, with room for half: code 2, one message, the earlier result as it was; then it works."""
    with disk(tmp_path / "disk") as place:
        assert subprocess.run([*asked, "--out", str(place)], check=False).returncode == 0
        before, filler = content(place / "creek"), place / "filler"
        needed = sum(map(len, before.values()))
        for left in (0, needed // 20, needed // 2):
            with filler.open("wb", buffering=0) as out:
                while os.statvfs(place).f_bavail * os.statvfs(place).f_bsize > left + 4096:
                    out.write(bytes(4096))
            done = subprocess.run([*asked, "--out", str(place)], capture_output=True, text=True, check=False)
            assert done.returncode == 2, done.stderr
            assert "No space left on device" in done.stderr
            assert len([line for line in done.stderr.splitlines() if line.startswith("lossmap: ")]) == 1
            assert "Traceback" not in done.stderr
            assert content(place / "creek") == before
            filler.unlink()
            assert sorted(path.name for path in place.iterdir()) == ["creek"]
        assert subprocess.run([*asked, "--out", str(place)], check=False).returncode == 0


@pytest.mark.parametrize("most", [0, 3_000, 60_000, 100_000])
def test_files_that_may_not_grow(asked: list[str], tmp_path: Path, most: int) -> None:
    """A limit on the size of files ends a run like a full disk does, whichever file meets it first."""
    script = (
        "import runpy, resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv.pop(1)),) * 2);"
        "runpy.run_module('lossmap.pipelines', run_name='__main__')"
    )
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[1] == resource.RLIM_INFINITY
    words = [sys.executable, "-B", "-c", script, str(most), *asked[3:], "--out", str(tmp_path / "out")]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 2, done.stderr
    assert "File too large" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists() or list((tmp_path / "out").iterdir()) == []


def test_a_disk_that_cannot_be_written_to(asked: list[str], tmp_path: Path) -> None:
    """Code 2 and what to do; nothing changes."""
    with disk(tmp_path / "disk") as place:
        (place / "creek").mkdir()
        (place / "creek" / "map.html").write_text("old")
        with read_only(place):
            done = subprocess.run([*asked, "--out", str(place)], capture_output=True, text=True, check=False)
        assert done.returncode == 2
        assert f"lossmap: {place}: cannot be written to (Read-only file system); give another --out" in done.stderr
        assert content(place / "creek") == {"map.html": b"old"}


def test_too_little_memory(asked: list[str], tmp_path: Path) -> None:
    """Where the system gives no more memory the run says so and leaves nothing."""
    script = (
        "import sys, resource; from lossmap.pipelines import map_field; from lossmap.pipelines.command import main;"
        "used = int(open('/proc/self/statm').read().split()[0]) * 4096;"
        "resource.setrlimit(resource.RLIMIT_AS, (used + 6_000_000,) * 2); sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *asked[3:], "--out", str(tmp_path / "out")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 3, done.stderr
    assert "needs more memory than there is" in done.stderr or "cannot be read" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists() or list((tmp_path / "out").iterdir()) == []
