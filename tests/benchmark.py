"""How long things take and how much memory, beside other libraries where they do the same: ``make bench``.

Prints a table for DEVELOPERS.md. Times are CPU seconds of one process with one thread;
whole commands are measured from outside, imports included. ``make bench FIELDS=1000`` says
how many fields its season has.
"""

from __future__ import annotations

import csv
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np
import pyarrow.csv
import shapely

from alone import alone
from benchmarks import order, season, taskdata
from lossmap.base.settings import Settings
from lossmap.clean import clean
from lossmap.clean.motion import passes
from lossmap.clean.swath import fresh_share
from lossmap.clean.track import track_of
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
    done = alone(words)
    assert done.code == 0, done.err
    return done.cpu_s, done.peak_mb


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
        arrow = cpu(lambda file=file: pyarrow.csv.read_csv(file))  # type: ignore[misc]
        beside = f"columns only: pyarrow {arrow:.2f} s; rows only: csv module {plain:.2f} s"
        rows.append((f"read CSV, detect, check units, to POINTS, {name}", f"{ours:.2f} s", beside))
        log = read_points(field).table
        points = project(log, utm_crs(log))
        rows.append(
            (f"clean, delays and swath in it, {name}", f"{cpu(lambda f=field, p=points: clean(p, f, Settings().clean), 2):.2f} s", "")
        )  # type: ignore[misc]
    return rows


def swaths(folder: Path) -> list[Row]:
    """Fresh width on the raster, beside polygons with a spatial index (shapely), on the same records."""
    field = read_field(folder / "50k")
    log = read_points(field).table
    points = project(log, utm_crs(log)).iloc[:20_000]
    track = track_of(points, np.ones(len(points), dtype=bool))
    pass_id = passes(track, np.ones(len(points), dtype=bool), 6.0, 45.0)
    width = points["width_m"].to_numpy()
    ours, share = cpu(lambda: fresh_share(track, width, pass_id)), fresh_share(track, width, pass_id)
    began = time.process_time()
    exact = exact_share(track.easting_m, track.northing_m, pass_id, float(width[0]))
    polygons = time.process_time() - began
    off = 100 * abs(share.sum() / exact.sum() - 1)
    return [
        (
            f"fresh swath width, {len(points):,} records",
            f"{ours:.2f} s",
            f"shapely polygons: {polygons:.2f} s ({polygons / ours:.0f} times), area differs by {off:.2f} %",
        )
    ]


def exact_share(east: np.ndarray, north: np.ndarray, pass_id: np.ndarray, width_m: float) -> np.ndarray:
    """Share of each swath that no earlier pass had cut, by polygon overlay."""
    step = np.column_stack([np.diff(east), np.diff(north)])
    ahead = shapely.linestrings(np.stack([np.column_stack([east, north])[:-1], np.column_stack([east, north])[1:]], axis=1))
    swath = shapely.buffer(ahead, width_m / 2, cap_style="flat")
    number = np.arange(1, len(east))
    real = (pass_id[1:] == pass_id[:-1]) & (pass_id[1:] >= 0) & (np.hypot(*step.T) > 0)
    later, earlier = shapely.STRtree(swath[real]).query(swath[real], predicate="intersects")
    number = number[real]
    before = (earlier < later) & ((pass_id[number[earlier]] != pass_id[number[later]]) | (later - earlier > 4))
    later, earlier = later[before], earlier[before]
    order = np.argsort(later, kind="stable")
    groups, first = np.unique(later[order], return_index=True)
    share = np.ones(len(east))
    for group, those in zip(groups, np.split(earlier[order], first[1:]), strict=True):
        mine = swath[real][group]
        share[number[group]] = shapely.difference(mine, shapely.union_all(swath[real][those])).area / mine.area
    return share


def task_data() -> list[Row]:
    """The reader of ISO 11783-10 logs, beside a plain loop over records."""
    found = taskdata.measure()
    return [
        (
            f"ISO 11783-10 log, {found['records']:,} records",
            f"{found['read_records_per_s'] / 1e6:.2f} million records/s read, {found['decode_records_per_s'] / 1e6:.2f} decoded",
            f"struct loop: {found['records'] / found['record_loop_s'] / 1e6:.2f} million/s",
        )
    ]


def main() -> None:
    """Measure all and print the table."""
    with tempfile.TemporaryDirectory() as name:
        rows = [*whole_fields(Path(name)), *stages(Path(name)), *swaths(Path(name)), *task_data(), *order.measure()]
    rows += season.measure(*map(int, sys.argv[1:2]))
    print("| what | measured | beside it |\n|---|---|---|")
    for row in rows:
        print("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
