"""Same input, settings and version give the same bytes, wherever and under whatever environment a command runs."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from disks import disk, read_only

ROOT = Path(__file__).resolve().parents[1]
FLOWS = {
    "map": ("demo-fields/mill-strip", []),
    "stops": ("demo-fields/mill-strip", ["--number", "6"]),
    "rank": ("demo-fields/made-farm", ["--on", "2025-09-25", "--set", "doubt.seasons=40", "--set", "search.rounds=3"]),
}
PLAIN = {"LC_ALL": "C.UTF-8", "TZ": "UTC", "PYTHONHASHSEED": "0", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
ELSEWHERE = {
    "another locale and time zone": {"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8", "TZ": "Pacific/Auckland"},
    "no locale, another seed of hashes": {"LC_ALL": "C", "TZ": "America/St_Johns", "PYTHONHASHSEED": "4242"},
    "more threads": {"OMP_NUM_THREADS": "4", "OPENBLAS_NUM_THREADS": "4", "MKL_NUM_THREADS": "4"},
}


def run(flow: str, out: Path, environment: dict[str, str], cwd: Path = ROOT) -> dict[str, bytes]:
    """The files that a command writes in a process of its own, run.toml without its seconds."""
    place, words = FLOWS[flow]
    asked = [
        sys.executable,
        "-m",
        "lossmap.pipelines",
        flow,
        os.path.relpath(ROOT / place, cwd),
        "--out",
        os.path.relpath(out, cwd),
        "-q",
        *words,
    ]
    done = subprocess.run(asked, cwd=cwd, env={**os.environ, **environment}, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    files = {path.name: path.read_bytes() for path in (out / Path(place).name).iterdir()}
    if "run.toml" in files:
        files["run.toml"] = files["run.toml"].partition(b"\n[seconds]")[0]
    return files


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, bytes]]:
    """Every flow's files, by the plain environment."""
    return {flow: run(flow, tmp_path_factory.mktemp(flow), PLAIN) for flow in FLOWS}


@pytest.mark.parametrize("where", ELSEWHERE)
@pytest.mark.parametrize("flow", FLOWS)
def test_the_same_bytes_elsewhere(flow: str, where: str, plain: dict[str, dict[str, bytes]], tmp_path: Path) -> None:
    """Locale, time zone, order of hashes, threads and the folder one stands in change no byte of any file."""
    files = run(flow, tmp_path / "out", {**PLAIN, **ELSEWHERE[where]}, cwd=tmp_path)
    assert files.keys() == plain[flow].keys()
    assert [name for name in files if files[name] != plain[flow][name]] == []


def test_the_same_bytes_from_a_disk_that_cannot_be_written(plain: dict[str, dict[str, bytes]], tmp_path: Path) -> None:
    """Nothing is written beside the input, nor needed in a home."""
    with disk(tmp_path / "disk") as place:
        shutil.copytree(ROOT / "demo-fields" / "mill-strip", place / "mill-strip")
        with read_only(place):
            asked = [
                sys.executable,
                "-B",
                "-m",
                "lossmap.pipelines",
                "map",
                str(place / "mill-strip"),
                "--out",
                str(tmp_path / "out"),
                "-q",
            ]
            environment = {**os.environ, **PLAIN, "HOME": str(place)}
            done = subprocess.run(asked, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "atplotlib" not in done.stderr
    files = {path.name: path.read_bytes() for path in (tmp_path / "out" / "mill-strip").iterdir()}
    assert [name for name in files if name != "run.toml" and files[name] != plain["map"][name]] == []
