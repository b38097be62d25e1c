"""How quickly a season is mapped: on two cores beside a plain loop and joblib, what each field costs beyond its work, the driver's memory.

``make bench FIELDS=1000`` takes the better part of an hour; the default is smaller. Fields per
second are by the clock and say little on a machine that others use; CPU seconds say what a
worker adds to the work.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path

import joblib

from alone import alone
from lossmap.base.settings import Settings
from lossmap.pipelines.season_field import Job, field_row
from lossmap.pipelines.workers import Lost, worked, workers
from lossmap.synthetic import FieldPlan, make, write

Row = tuple[str, str, str]

CORES = 2
#: Fields that a loop and joblib are given: their rate shows with these.
BESIDE = 100
#: Some 10,000 points and 12 stops; four different ones, each many times over.
PLAN = FieldPlan(length_m=560.0, breadth_m=300.0, stops=12)
TINY = FieldPlan(length_m=120.0, breadth_m=80.0, stops=2, log_interval_s=3.0)


def measure(fields: int = 60, taken: int = 1000) -> list[Row]:
    """A row each for the work itself, for what is around it, and for memory; a fifth of the fields beside all, for growth.

    Parameters
    ----------
    fields : int
        That are mapped.
    taken : int
        That are taken over unchanged, where next to all the time is what a season costs itself.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        return [*_work(folder / "work", fields), *_around(folder / "tiny", taken)]


def _work(folder: Path, fields: int) -> list[Row]:
    """Fields per second, by a loop, by our workers and by joblib."""
    points = _planted(folder / "fields", PLAN, fields, 4)
    jobs = _jobs(folder, again=True)
    some, beside = jobs[: max(fields // 5, 1)], jobs[:BESIDE]
    runs = {
        "loop": _run(lambda: [timed_row(job) for job in beside]),
        "joblib": _run(lambda: joblib.Parallel(CORES)(joblib.delayed(timed_row)(job) for job in beside)),
        f"{len(some)} on {CORES} cores": _run(lambda: _on_cores(some)),
        f"{len(jobs)} on {CORES} cores": _run(lambda: _on_cores(jobs)),
    }
    loop, rival = runs.pop("loop"), runs.pop("joblib")
    said = "; ".join(
        f"{what}: {rate:.2f} a second ({rate / loop[0] / CORES:.2f} of {CORES} loops), {cpu:.2f} CPU s each"
        for what, (rate, cpu) in runs.items()
    )
    return [
        (
            f"fields of {points:,} points and {PLAN.stops} stops",
            said,
            f"loop {loop[0]:.2f} a second, {loop[1]:.2f} CPU s; joblib {rival[0]:.2f}, {rival[1]:.2f}",
        )
    ]


def timed_row(job: Job) -> float:
    """Map a field; the CPU seconds that it took."""
    began = time.process_time()
    field_row(job)
    return time.process_time() - began


def _run(work: Callable[[], Sequence[float]]) -> tuple[float, float]:
    """Fields per second by the clock, and CPU seconds a field."""
    began = time.perf_counter()
    spent = work()
    return len(spent) / (time.perf_counter() - began), sum(spent) / len(spent)


def _around(folder: Path, fields: int) -> list[Row]:
    """What a field costs beyond its work, and the driver's memory, for a fifth of the fields and for all."""
    _planted(folder / "fields", TINY, 1, 1)
    [first] = _jobs(folder)
    field_row(first)
    rows = []
    for many in (max(fields // 5, 2), fields):
        _copied(first, folder / "fields", many)
        jobs = _jobs(folder)
        with workers(CORES) as crew:
            list(islice(worked(crew, field_row, [*jobs[:4]], 600), 4))  # processes up, modules loaded
            began = time.perf_counter()
            found = [row for _, row in worked(crew, field_row, jobs, 600)]
            wall = time.perf_counter() - began
        work = sum(row["seconds"] for row in found if not isinstance(row, Lost))
        assert all(not isinstance(row, Lost) and not row["remade"] for row in found)
        seconds, memory = _driver(folder)
        rows.append(
            (
                f"{many:,} unchanged fields taken over on {CORES} cores",
                f"{1000 * (CORES * wall - work) / many:.1f} ms a field beyond its work of {1000 * work / many:.1f} ms",
                f"whole command {seconds:.1f} s, driver {memory:.0f} MB",
            )
        )
    return rows


def _planted(folder: Path, plan: FieldPlan, fields: int, kinds: int) -> int:
    """Write `fields` fields of so many kinds; points of one."""
    for n in range(min(kinds, fields)):
        made = make(plan, n)
        write(made, folder / f"f{n:05}")
    for n in range(kinds, fields):
        shutil.copytree(folder / f"f{n % kinds:05}", folder / f"f{n:05}", copy_function=os.link)
    return len(made.points)


def _jobs(folder: Path, again: bool = False) -> list[Job]:
    places = sorted((folder / "fields").iterdir())
    return [Job(place.name, place, folder / "out" / "fields" / place.name, Settings(), again) for place in places]


def _copied(first: Job, fields: Path, many: int) -> None:
    """The field and its results `many` times, the same bytes under many names."""
    for n in range(1, many):
        job = replace(first, folder=fields / f"f{n:05}", target=first.target.parent / f"f{n:05}")
        for source, copy in ((first.folder, job.folder), (first.target, job.target)):
            if not copy.exists():
                shutil.copytree(source, copy, copy_function=os.link)


def _on_cores(jobs: Sequence[Job]) -> list[float]:
    with workers(CORES) as crew:
        spent = [found for _, found in worked(crew, timed_row, jobs, 3600)]
    return [seconds for seconds in spent if not isinstance(seconds, Lost)]


def _driver(folder: Path) -> tuple[float, float]:
    """Seconds and peak MB of the whole command, of its own process alone."""
    done = alone(["season", str(folder / "fields"), "--out", str(folder / "out"), "--cores", str(CORES), "--quiet"])
    assert done.code == 0, done.err
    return done.wall_s, done.peak_mb
