"""Write down every number of every summary, for the next version to be held against: ``python tests/expected_numbers.py``.

Run it when a result is meant to change, and say in the commit what changed and why.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from lossmap.pipelines.command import main as lossmap

ROOT = Path(__file__).resolve().parents[1]
FILE = ROOT / "shared" / "expected" / "numbers.json"
FARM = ["rank", str(ROOT / "demo-fields" / "made-farm"), "--on", "2025-09-25"]
#: Other versions of what we stand on sum in another order: a number may differ by this share, or by this much.
WITHIN_SHARE, WITHIN = 2e-3, 2e-3

#: What a summary says in words that follow from its numbers, and what is not a result.
_WORDS = ("verdict", "label", "block", "cut_on", "early_on", "late_on", "done_on", "best_alone_on", "field", "before", "measure", "combine")
_NO_RESULT = ("inputs_sha256", "lossmap")


def numbers(summary: Any, place: str = "") -> Iterator[tuple[str, float | str | None]]:
    """Every number, truth value, gap and verdict of a summary under its dotted place."""
    if isinstance(summary, Mapping):
        for name, value in summary.items():
            if name not in _NO_RESULT:
                yield from numbers(value, f"{place}.{name}" if place else str(name))
    elif isinstance(summary, list):
        for number, value in enumerate(summary):
            yield from numbers(value, f"{place}[{number}]")
    elif not isinstance(summary, str) or place.rpartition(".")[2] in _WORDS:
        yield place, summary


def differences(expected: Mapping[str, Any], found: Mapping[str, Any]) -> list[str]:
    """What is missing or beyond the tolerance; a number that is new is none."""
    wrong = []
    for place, value in expected.items():
        now = found.get(place, "missing")
        if isinstance(value, (int, float)) and isinstance(now, (int, float)):
            same = abs(now - value) <= max(WITHIN, WITHIN_SHARE * abs(value))
        else:
            same = now == value
        if not same:
            wrong.append(f"{place}: {value} before, {now} now")
    return wrong


def main() -> None:
    """Map every demo field, rank the made farm, and write what they say."""
    said = {}
    with tempfile.TemporaryDirectory() as out:
        for field in sorted(path.parent for path in (ROOT / "demo-fields").glob("*/field.toml")):
            assert lossmap(["map", str(field), "--out", out, "-q"]) == 0
            said[field.name] = dict(numbers(json.loads((Path(out) / field.name / "summary.json").read_text(encoding="utf-8"))))
        assert lossmap([*FARM, "--out", out, "-q"]) == 0
        said["made-farm"] = dict(numbers(json.loads((Path(out) / "made-farm" / "summary.json").read_text(encoding="utf-8"))))
    FILE.write_text(json.dumps(said, indent=0, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
