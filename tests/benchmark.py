"""How long things take and how much memory, beside other libraries where they do the same: ``make bench``.

Prints a table for DEVELOPERS.md. Times are CPU seconds of one process with one thread;
whole commands are measured from outside, imports included.
"""

from __future__ import annotations

import csv
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np

from lossmap.base.settings import Settings
from lossmap.clean import clean
from lossmap.project import project, utm_crs
from lossmap.read import read_field, read_points
from lossmap.synthetic import FieldPlan, make, write

Row = tuple[str, str, str]


def cpu(work: Callable[[], Any], runs: int = 3) -> float:
    """Median CPU seconds of a few runs after one that warms up."""
    work()
    spent = []
    for _ in range(runs):
        began = time.process_time()
        work()
        spent.append(time.process_time() - began)
    return float(np.median(spent))


def command(*words: str) -> tuple[float, float]:
    """CPU seconds and peak MB of one whole `lossmap` command."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    # the peak of this program alone: the usage a child reports also counts its parent's pages
    script = "import sys; from lossmap.pipelines.command import main; main(sys.argv[1:]); print(open('/proc/self/status').read())"
    done = subprocess.run([sys.executable, "-c", script, *words], check=True, capture_output=True, text=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent, int(re.findall(r"VmHWM:\s+(\d+)", done.stdout)[0]) / 1024


def field_of(folder: Path, length_m: float, breadth_m: float, stops: int) -> int:
    """Write a made field as CSV; its number of points."""
    made = make(FieldPlan(length_m=length_m, breadth_m=breadth_m, stops=stops, design="spread", speed_effect=1.49), 1)
    write(made, folder)
    return len(made.points)


def whole_fields(folder: Path) -> list[Row]:
    """One field through the command, at two sizes."""
    rows = []
    for name, length, breadth in (("50k", 1250.0, 640.0), ("300k", 2500.0, 1900.0)):
        points = field_of(folder / name, length, breadth, 40)
        spent, memory = command("map", str(folder / name), "--out", str(folder / "out"), "--quiet")
        size = (folder / "out" / name / "map.html").stat().st_size / 1e6
        rows.append(
            (
                f"lossmap map, {points:,} points, 40 stops: all files, imports included",
                f"{spent:.2f} s, {memory:.0f} MB",
                f"map.html {size:.2f} MB",
            )
        )
    spent, memory = command("--version")
    rows.append(("lossmap --version", f"{spent:.2f} s, {memory:.0f} MB", ""))
    return rows


def stages(folder: Path) -> list[Row]:
    """Reading and cleaning, beside the plain csv module where it can do the same."""
    rows = []
    for name in ("50k", "300k"):
        field = read_field(folder / name)
        file = folder / name / "points.csv"
        ours = cpu(lambda field=field: read_points(field))  # type: ignore[misc]
        plain = cpu(lambda file=file: len(list(csv.reader(file.read_text().splitlines()))), 1)  # type: ignore[misc]
        rows.append((f"read CSV, detect, to POINTS, {name}", f"{ours:.2f} s", f"csv module, rows only: {plain:.2f} s"))
        log = read_points(field).table
        points = project(log, utm_crs(log))
        rows.append(
            (f"clean, delays and swath in it, {name}", f"{cpu(lambda f=field, p=points: clean(p, f, Settings().clean), 2):.2f} s", "")
        )  # type: ignore[misc]
    return rows


def main() -> None:
    """Measure all and print the table."""
    with tempfile.TemporaryDirectory() as name:
        rows = [*whole_fields(Path(name)), *stages(Path(name))]
    try:
        from benchmarks import taskdata

        measured = taskdata.measure()
        rows.append(("ISO 11783-10 log, plain layout", str(measured), ""))
    except ImportError:
        pass
    print("| what | measured | beside it |\n|---|---|---|")
    for row in rows:
        print("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
