"""Read everything a path leads to and say what was understood of it; write nothing."""

from __future__ import annotations

import contextlib
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely

from lossmap.base.errors import LossmapError, SettingsError, shown
from lossmap.base.field import Field, PointsFile
from lossmap.clean.position import known_places
from lossmap.project import near_together, project, utm_crs
from lossmap.read import read_boundary, read_counts, read_field
from lossmap.read.count_columns import counted_columns
from lossmap.read.detect import understood
from lossmap.read.formats import read_raw
from lossmap.read.places import area_ha
from lossmap.read.points import read_points
from lossmap.read.raw import Detected, Raw
from lossmap.read.taskdata import holds_task_data, read_task_data
from lossmap.read.words import unit_in_header

from .found import Found

__all__ = ["check_path"]


def check_path(path: Path) -> Found:
    """Everything of a field's folder, or one log, or one list of counts.

    Raises
    ------
    SettingsError
        There is nothing at `path`, or its field.toml is wrong.
    """
    if path.name == "field.toml" or (path / "field.toml").exists():
        return _field(read_field(path))
    if not path.exists():
        raise SettingsError(f"{path}: no such file or folder")
    if path.is_dir() and not holds_task_data(path, path.name):
        return _field(read_field(path))
    found = Found()
    if not _list_of_counts(found, path):
        _log(found, path, path.name, PointsFile(path=path.name), None, float("nan"))
    return found


def _list_of_counts(found: Found, path: Path) -> bool:
    """Whether a file alone is a list of counts and no log; what can be said of it without its field."""
    with contextlib.suppress(LossmapError):  # whatever is wrong is said of it as of a log
        raw = read_raw(path, path.name, None)
        roles = counted_columns(raw)
        taken = [Detected(role, column, unit_in_header(column, "m2") or "", "by its name", 1.0) for role, column in roles.items()]
        if roles:
            found.parts += [
                _understood(raw, f"a list of counts, {_counted(len(raw.columns), 'row')}", taken),
                {"what": "to check it with its field", "says": _where_counts_belong(path)},
            ]
        return bool(roles)
    return False


def _where_counts_belong(path: Path) -> str:
    """What to do to have a list of counts checked in full."""
    if (path.parent / "field.toml").exists():
        return f"lossmap check {shown(path.parent, 200)}"
    line = f'path = "{shown(path.name)}"'
    return f"put it into the folder of its field, add [[counts]] and {line} to field.toml there, and run lossmap check on that folder"


def _field(of: Field) -> Found:
    found = Found()
    facts = of.facts
    found.parts.append(
        {"what": f"{of.id}/field.toml", "says": f"{shown(facts.name)}, {of.crop.name}, header {facts.header_width:.2f} m wide"}
    )
    for log in facts.points:
        _log(found, of.file(log.path), f"{of.id}/{log.path}", log, of.crop.bushel_lb, facts.header_width)
    if not found.faults:
        _whole(found, of)
    return found


def _whole(found: Found, of: Field) -> None:
    """The tables as `map` would get them: what one part alone cannot show."""
    try:
        log = read_points(of)
        found.parts += [{"what": "note", "says": note} for note in log.notes]
        edge = read_boundary(of, log)
        if edge is not None:
            found.parts.append({"what": f"{of.id}/{of.facts.boundary or 'task data'}", "says": f"boundary, {area_ha(edge):.2f} ha"})
        found.parts.append({"what": "counts", "says": _counts(of, log.table, edge)})
    except LossmapError as refusal:
        found.faults += str(refusal).splitlines()


def _counts(of: Field, points: gpd.GeoDataFrame, edge: gpd.GeoSeries | None) -> str:
    """How many stops there are, none of them another field's; a field not counted yet is no fault where stops can be planned."""
    if not of.facts.counts:
        of.check_ground()
        return "none yet; lossmap stops plans where to take them, and a map needs them"
    counts = read_counts(of)
    crs = utm_crs(points if len(points) else counts)
    if edge is not None:
        near_together(project(counts, crs), edge.to_crs(crs).iloc[0], "boundary", of.id)
    elif len(points):
        here = project(points, crs)
        # cleaning, which a map's outline rests on, would take far longer than all the rest
        records = shapely.MultiPoint(shapely.get_coordinates(here.geometry[known_places(here)].to_numpy()))
        near_together(project(counts, crs), records, "log", of.id)
    laid = ", ".join(f"{n} {position}" for position, n in Counter(counts["position"]).items())
    return f"{_counted(counts['stop_id'].nunique(), 'stop')} ({laid})"


def _log(found: Found, path: Path, where: str, log: PointsFile, bushel_lb: float | None, header_width_m: float) -> None:
    """One log, as `map` would understand it."""
    try:
        if holds_task_data(path, where):
            _task_data(found, path, where, log.layer)
        else:
            _table(found, read_raw(path, where, log.layer, log.missing), log, bushel_lb, header_width_m)
    except LossmapError as refusal:
        found.faults += str(refusal).splitlines()


def _table(found: Found, raw: Raw, log: PointsFile, bushel_lb: float | None, header_width_m: float) -> None:
    seen = understood(raw, log.columns, bushel_lb, header_width_m, log.crs)
    part = _understood(raw, f"{_counted(len(raw.columns), 'record')}, {_system(raw)}", seen.detected)
    wanted = _wanted({one.role for one in seen.detected}, raw.x is not None) if part["unused"] else []
    found.parts.append({**part, "asked": [*seen.asked, *(line for line in wanted if not _is_asked(line, seen.asked))]})
    found.faults += seen.faults


def _is_asked(wanted: str, asked: Iterable[str]) -> bool:
    """Whether a line for the same role is asked for already; yield stands for mass flow."""
    role = wanted.partition(" ")[0]
    return any(line.startswith((f"{role} ", "yield ") if role == "mass_flow" else f"{role} ") for line in asked)


def _understood(raw: Raw, says: str, detected: Sequence[Detected]) -> dict[str, Any]:
    """A file with the columns that play a role, and those that play none."""
    taken = {one.column for one in detected}
    return {
        "what": raw.where,
        "says": says,
        "columns": [_column(one, _first(raw.columns[one.column])) for one in detected],
        "unused": [str(name) for name in raw.columns.columns if name not in taken],
    }


def _wanted(roles: set[str], placed: bool) -> list[str]:
    """Of a log that cannot be mapped, whose words are of another language perhaps: a line of [points.columns] for each role not found."""
    placed = placed or {"longitude", "latitude"} <= roles or {"easting", "northing"} <= roles
    if placed and roles & {"mass_flow", "yield"}:
        return []
    lines = {} if placed else {"longitude": '"..."', "latitude": '"..."'}
    lines |= {"time": '"..."', "moisture": '{ column = "...", unit = "%" }', "speed": '{ column = "...", unit = "mph" }'}
    lines |= {} if "yield" in roles else {"mass_flow": '{ column = "...", unit = "lb/s" }'}
    return [f"{role} = {column}" for role, column in lines.items() if role not in roles]


def _task_data(found: Found, path: Path, where: str, layer: str | None) -> None:
    data = read_task_data(path, where, layer)
    for log in data.logs:
        machine = f", {shown(log.machine)}" if log.machine else ""
        found.parts.append(
            {
                "what": f"{where}, {log.name}",
                "says": f"{_counted(len(log.longitude), 'record')}{machine}",
                "columns": [_column(one, []) for one in log.detected],
            }
        )
    found.parts += [{"what": "note", "says": note} for note in data.notes]


def _column(one: Detected, first: list[str]) -> dict[str, Any]:
    return {
        "role": one.role,
        "column": one.column,
        "unit": one.unit,
        "how": one.how,
        "check": round(one.ratio, 3) if math.isfinite(one.ratio) else None,
        "first": first,
    }


def _first(values: Iterable[Any]) -> list[str]:
    first: list[str] = []
    for value in values:
        if value == value and value is not None:
            first.append(shown(value, 24))
        if len(first) == 3:
            break
    return first


def _counted(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _system(raw: Raw) -> str:
    if raw.crs is None:
        return "places in columns" if raw.x is None else "coordinate system not stated"
    return raw.crs.name if raw.x is not None else "places in columns"
