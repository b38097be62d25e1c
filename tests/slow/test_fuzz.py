"""Readers under inputs that coverage leads to: whatever comes in, a table or one of our own refusals comes out."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fuzzing.targets import TARGETS, fed

SCRIPT = Path(__file__).resolve().parents[1] / "fuzzing" / "run.py"

# A minute a target by default; half an hour with LOSSMAP_FUZZ_SECONDS=1800.
SECONDS = os.environ.get("LOSSMAP_FUZZ_SECONDS", "60")


@pytest.mark.slow
@pytest.mark.skipif(
    importlib.util.find_spec("atheris") is None, reason="atheris is not here (pip install atheris): nothing to lead the search"
)
@pytest.mark.parametrize("name", TARGETS)
def test_no_input_breaks_a_reader(name: str, tmp_path: Path) -> None:
    """No foreign error, no input of over five seconds, no more than a gigabyte of memory."""
    asked = [sys.executable, str(SCRIPT), name, "--seconds", SECONDS, "--findings", str(tmp_path)]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    tally = json.loads(next(line for line in done.stdout.splitlines() if line.startswith("{")))
    print(f"\n{name}: {tally['executions']:,} inputs in {tally['seconds']} s, slowest {tally['slowest_s']} s")
    assert tally["findings"] == [], [path.read_text() for path in tmp_path.glob("*.txt")]
    assert tally["executions"] > 20


@pytest.mark.parametrize("name", TARGETS)
def test_sound_seeds_are_read(name: str, tmp_path: Path) -> None:
    """What the search starts from is read without a refusal: else it would start at a closed door."""
    for number, content in enumerate(TARGETS[name].seeds()):
        folder = tmp_path / str(number)
        folder.mkdir()
        # tables are built from bytes, and results spoilt by them: open columns are asked for, and some are refused
        if name == "detection" or (name == "results" and content.startswith(b"\1")):
            assert fed(TARGETS[name], content, folder) is None
        else:
            TARGETS[name].feed(content, folder)
