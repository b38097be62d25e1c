"""Remake the table of simulations, shared/expected/evidence.md: ``python tests/evidence.py`` (``make slow``).

``--only surface power`` measures these topics alone, ``--fields 16`` on fewer fields; both
print and leave the table as it is.
"""

from __future__ import annotations

import argparse
import datetime
import os
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from slow import findings_curves, findings_design, findings_seconds, findings_sources, findings_surface, findings_verdicts, findings_zones
from slow.fields import Row

TABLE = Path(__file__).resolve().parent.parent / "shared" / "expected" / "evidence.md"

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
    "seconds": findings_seconds.rows,
}


def main(words: list[str] | None = None) -> int:
    """Measure, print, and write the table if all of it was measured; 1 if a line is missed."""
    asked = _asked(words)
    measured = [(topic, *timed(topic, asked.fields)) for topic in asked.only]
    if list(asked.only) == list(TOPICS) and asked.fields is None:
        TABLE.write_text(table(measured), encoding="utf-8")
    return int(any(row.holds is False for _, rows, _ in measured for row in rows))


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
    return row.what, row.measured, row.line, {None: "", True: "holds", False: "MISSED"}[row.holds]


def table(measured: Iterable[tuple[str, list[Row], float]]) -> str:
    """The whole table as Markdown."""
    lines = [
        "# Simulations",
        "",
        "Written by `python tests/evidence.py` (`make slow` runs it) on made fields with known truth (`lossmap.synthetic`);",
        f"the settings are functions in `tests/slow/fields.py`. Measured {datetime.date.today()}, seconds on two cores, wall.",
        'Error after +- is one standard error over fields (binomial for rates). "x4" is four frames of a square foot at a stop.',
        "",
    ]
    for topic, rows, seconds in measured:
        lines += [f"## {topic}", "", f"`python tests/evidence.py --only {topic}`: {seconds:.0f} s", ""]
        lines += ["| what | measured | line | |", "|---|---|---|---|"]
        lines += ["| " + " | ".join(cells(row)) + " |" for row in rows] + [""]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
