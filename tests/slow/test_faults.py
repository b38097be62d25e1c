"""Runs ended at 100 moments and more leave whole results or none, and a run made again comes to its end."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
SCRIPT = Path(__file__).resolve().parents[1] / "faults.py"


@pytest.mark.parametrize(
    ("trial", "moments"), [("map", 60), ("stops", 20), ("rank", 20), ("map-term", 10), ("map-int", 10), ("together", 5)]
)
def test_ended_from_outside(trial: str, moments: int) -> None:
    """Nothing is ever half, nothing lies about after the next run, and that one is whole."""
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "--only", trial, "--moments", str(moments), "--json"], capture_output=True, text=True, check=False
    )
    tally = json.loads(done.stdout)[0]
    assert tally["wrong"] == []
    assert sum(tally["left"].values()) >= moments
    assert tally["left"].get("half", 0) == 0
