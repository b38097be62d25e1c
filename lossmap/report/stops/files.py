"""The files of a plan of stops: for maps and scripts, for phones and receivers, for whoever counts."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from lossmap.report.files import write_text, written
from lossmap.report.stops.count_sheet import count_sheet
from lossmap.report.stops.plan import StopsPlan, geojson_of_plan, gpx_of_plan

__all__ = ["FILES", "write_plan"]

#: What a plan is written to, in this order.
FILES: tuple[tuple[str, Callable[[StopsPlan], str]], ...] = (
    ("stops-plan.geojson", geojson_of_plan),
    ("stops-plan.gpx", gpx_of_plan),
    ("count-sheet.html", count_sheet),
)


def write_plan(plan: StopsPlan, folder: Path) -> list[Path]:
    """Write every file of a plan.

    Parameters
    ----------
    plan : StopsPlan
    folder : Path
        Exists; whoever calls brings the files to their place when all are whole.

    Raises
    ------
    WriteError
    """
    for name, content in FILES:
        written(folder / name, partial(write_text, text=content(plan)), "check that the folder is writable and has room")
    return [folder / name for name, _ in FILES]
