"""Made fields small enough to map in half a second, and work on them with planted faults, for processes to import."""

from __future__ import annotations

import functools
import shutil
from pathlib import Path
from typing import Any

from planted_tasks import act

from lossmap.pipelines.season_field import Job, field_row
from lossmap.synthetic import FieldPlan, make, write

#: What comes over a field, by the name of its folder.
GRIEFS: dict[str, tuple[str, Any]] = {"hangs": ("sleep", 600), "dies": ("die", 0), "starves": ("starve", 0), "slips": ("slip", 0)}


@functools.cache
def tiny() -> Any:
    """A field of 200 records and two stops."""
    return make(FieldPlan(length_m=120, breadth_m=80, stops=2, log_interval_s=3.0), 1)


def plant(folder: Path, *field_ids: str) -> Path:
    """Write the tiny field at each of the paths below `folder`; gives `folder` back."""
    first: Path | None = None
    for field_id in field_ids:
        if first is None:
            first = folder / field_id
            write(tiny(), first)
        else:
            shutil.copytree(first, folder / field_id)
    return folder


def spoil(field: Path) -> None:
    """Make a count of it nobody can have counted."""
    counts = field / "counts.csv"
    head, first, *more = counts.read_text().splitlines()
    cells = first.split(",")
    cells[head.split(",").index("seeds")] = "lots"
    counts.write_text("\n".join([head, ",".join(cells), *more]) + "\n")


def grieving_row(job: Job) -> dict[str, Any]:
    """`field_row`, but for folders whose name says what comes over them."""
    name = job.folder.name
    if name.startswith("dies-once"):
        act(("die once", str(job.folder / "died")))
    if name == "vanishes":
        shutil.rmtree(job.folder)
    if name in GRIEFS:
        act(GRIEFS[name])
    return field_row(job)
