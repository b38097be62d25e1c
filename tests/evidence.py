"""Remake the table of simulations, shared/expected/evidence.md: ``python tests/evidence.py`` (``make slow``).

``--only surface power`` measures these topics alone and leaves the others' sections as they
are; ``--fields 16`` measures fewer fields and only prints.
"""

from __future__ import annotations

import argparse
import datetime
import os
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from slow import (
    findings_curves,
    findings_design,
    findings_order,
    findings_pace,
    findings_season,
    findings_seconds,
    findings_sources,
    findings_surface,
    findings_verdicts,
    findings_zones,
)
from slow.fields import Row

TABLE = Path(__file__).resolve().parent.parent / "shared" / "expected" / "evidence.md"

HEAD = [
    "# Simulations",
    "",
    "Written by `python tests/evidence.py` (`make slow` runs it) on made fields with known truth (`lossmap.synthetic`);",
    "the settings are functions in `tests/slow/fields.py`. Seconds are wall, on two cores (machine shared).",
    'Error after +- is one standard error over fields (binomial for rates). "x4" is four frames of a square foot at a stop.',
    "",
]

#: What can be measured, each with its own number of fields.
TOPICS: dict[str, Callable[..., list[Row]]] = {
    "surface": findings_surface.rows,
    "false-flags": findings_verdicts.false_flag_rows,
    "power": findings_verdicts.power_rows,
    "shares": findings_verdicts.share_rows,
    "curves": findings_curves.curve_rows,
    "sources": findings_sources.rows,
    "zones": findings_zones.rows,
    "design": findings_design.rows,
    "pace": findings_pace.rows,
    "pace-positions": findings_pace.position_rows,
    "order": findings_order.rows,
    "season": findings_season.rows,
    "seconds": findings_seconds.rows,
}


def main(words: list[str] | None = None) -> int:
    """Measure, print, and write each topic's section as it is done; 1 if a line within reach is missed."""
    asked = _asked(words)
    missed = False
    for topic in asked.only:
        rows, seconds = timed(topic, asked.fields)
        missed |= any(row.is_missed for row in rows)
        if asked.fields is None:
            write(topic, rows, seconds)
    return int(missed)


def _asked(words: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--only", nargs="+", choices=list(TOPICS), default=list(TOPICS), metavar="TOPIC", help=", ".join(TOPICS))
    parser.add_argument("--fields", type=int, help="fields a row instead of each topic's own number")
    return parser.parse_args(words)


def timed(topic: str, fields: int | None = None) -> tuple[list[Row], float]:
    """One topic's rows, printed, and the seconds they took."""
    began = time.perf_counter()
    rows = TOPICS[topic]() if fields is None else TOPICS[topic](fields)
    seconds = time.perf_counter() - began
    print("\n".join([f"\n## {topic} ({seconds:.0f} s)", *(" | ".join(cells(row)) for row in rows)]), flush=True)
    return rows, seconds


def cells(row: Row) -> tuple[str, ...]:
    """A row of the table."""
    kept = {None: "", True: "holds", False: "MISSED"}[row.holds]
    return row.what, row.measured, row.line, f"{kept} ({row.excuse})" if row.holds is False and row.excuse else kept


def write(topic: str, rows: list[Row], seconds: float) -> None:
    """Put one topic's section into the table, in the topics' order; the others stay."""
    sections = _sections(TABLE.read_text(encoding="utf-8")) if TABLE.exists() else {}
    sections[topic] = section(topic, rows, seconds)
    TABLE.write_text("\n".join([*HEAD, *(sections[name] for name in TOPICS if name in sections)]), encoding="utf-8")


def section(topic: str, rows: list[Row], seconds: float) -> str:
    """A topic's heading, command and rows as Markdown."""
    lines = [f"## {topic}", "", f"`python tests/evidence.py --only {topic}`: {datetime.date.today()}, {seconds:.0f} s", ""]
    lines += ["| what | measured | line | |", "|---|---|---|---|"]
    return "\n".join([*lines, *("| " + " | ".join(cells(row)) + " |" for row in rows), ""])


def _sections(table: str) -> dict[str, str]:
    """The table's sections by topic."""
    parts = re.split(r"^(?=## )", table, flags=re.MULTILINE)[1:]
    return {part.splitlines()[0].removeprefix("## "): part.rstrip("\n") + "\n" for part in parts}


if __name__ == "__main__":
    sys.exit(main())
