"""One field of a season: its results taken over where nothing has changed, else mapped; a refusal is a row like any other."""

from __future__ import annotations

import logging
import math
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely

from lossmap.base.errors import LossmapError
from lossmap.base.field import Field
from lossmap.base.settings import UNHEEDED, Settings
from lossmap.base.tables import SEASON
from lossmap.read import fingerprints, read_field, read_season_row, results_sha256
from lossmap.read.facts import FACTS, read_toml
from lossmap.report import FILES
from lossmap.report.run_file import as_typed, version

from .map_field import map_into
from .progress import Stages
from .turns import in_turn

__all__ = ["Job", "failed_row", "field_row"]


@dataclass(frozen=True)
class Job:
    """A field of a season, and what is to be done with it.

    Attributes
    ----------
    field_id : str
        Its path below the season's folder.
    folder, target : Path
        Where it is, and where its results go.
    settings : Settings
    again : bool
        Map it whatever has been done before.
    """

    field_id: str
    folder: Path
    target: Path
    settings: Settings
    again: bool = False


def field_row(job: Job) -> dict[str, Any]:
    """Make sure that the field's results are there, and say what they say (SEASON, ``geometry`` and ``evidence``).

    The row is read back from the files, so that fields mapped now and before say the same.
    """
    began = time.perf_counter()
    try:
        remade, row = _row(job)
    except LossmapError as refusal:
        return failed_row(job, "; ".join(str(refusal).splitlines()), time.perf_counter() - began)
    except OSError as fault:
        error = f"{fault.filename or job.folder}: cannot be used ({fault.strerror or fault}); make sure it is there and run again"
        return failed_row(job, error, time.perf_counter() - began)
    return {**row, "field_id": job.field_id, "error": "", "remade": int(remade), "seconds": time.perf_counter() - began}


def _row(job: Job) -> tuple[bool, dict[str, Any]]:
    field = read_field(job.folder)
    if not job.again and (row := _taken_over(field, job)) is not None:
        return False, row
    map_into(job.target, field, job.settings, Stages(job.field_id, level=logging.DEBUG))
    with in_turn(job.target.parent):
        return True, read_season_row(job.target)


def _taken_over(field: Field, job: Job) -> dict[str, Any] | None:
    """What the results that lie there say; None where they are not whole, or not of these inputs, settings and version."""
    # results that were damaged since are made anew, and what is wrong with the inputs is said when they are mapped
    with suppress(LossmapError, OSError):
        inputs = fingerprints(field)
        with in_turn(job.target.parent):
            return read_season_row(job.target) if _is_unchanged(job, inputs) else None
    return None


def _is_unchanged(job: Job, inputs: dict[str, str]) -> bool:
    if not all((job.target / name).is_file() for name in FILES):
        return False
    run = read_toml(job.target / "run.toml", "run.toml")
    settings = run.get("settings")
    if run.get("lossmap") != version() or run.get("inputs_sha256") != inputs or not isinstance(settings, dict):
        return False
    return run.get("results_sha256") == results_sha256(job.target) and _of_a_field(settings) == _of_a_field(as_typed(job.settings))


def _of_a_field(settings: dict[str, Any]) -> dict[str, Any]:
    return {name: values for name, values in settings.items() if name not in UNHEEDED["map"]}


def failed_row(job: Job, error: str, seconds: float = math.nan) -> dict[str, Any]:
    """The row of a field that has no map of this run, and why."""
    unknown: dict[str, Any] = {"number": math.nan, "whole": 0, "text": ""}
    row = {column.name: unknown[column.kind] for column in SEASON.columns}
    if (job.target / "run.toml").is_file():
        error += " (the map in its folder is of an earlier run)"
    return {
        **row,
        "field_id": job.field_id,
        "name": _name(job),
        "error": error,
        "seconds": seconds,
        "geometry": shapely.Polygon(),
        "evidence": None,
    }


def _name(job: Job) -> str:
    """As its owner wrote it; the folder's where that cannot be read."""
    with suppress(LossmapError, OSError):
        name = read_toml(job.folder / FACTS, FACTS).get("name")
        if isinstance(name, str) and name:
            return name
    return job.folder.name
