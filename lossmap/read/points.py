"""Logs of machines to one POINTS table."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from lossmap.base.errors import ReadError, shown
from lossmap.base.estimates import StatedTiming
from lossmap.base.field import MEASURED, Field, PointsFile
from lossmap.base.grid import Floats
from lossmap.base.tables import POINTS
from lossmap.read.detect import columns_of
from lossmap.read.formats import read_raw
from lossmap.read.places import WGS84, area_ha, places_of
from lossmap.read.raw import MOST_RECORD, Detected, Raw, checked, column_numbers
from lossmap.read.taskdata import holds_task_data, points_of, read_task_data
from lossmap.read.times import Times, read_times

__all__ = ["PointsRead", "read_points"]

#: Twice the widest header that field.toml takes; a width beyond is a mark of the machine's, not a header [m].
WIDEST_M = 60.0

# Sensors that may be dead: 0 all through a log says nothing of speed or moisture.
_SENSORS = ("speed", "distance", "interval", "moisture", "mass_flow")

_WORK = {"in": 1.0, "on": 1.0, "down": 1.0, "1": 1.0, "true": 1.0, "work": 1.0, "working": 1.0}
_NO_WORK = {"out": 0.0, "off": 0.0, "up": 0.0, "0": 0.0, "false": 0.0, "idle": 0.0}


@dataclass(frozen=True)
class PointsRead:
    """A POINTS table, what each column was taken for, and what the logs lack.

    Attributes
    ----------
    edge : GeoSeries or None
        The field's boundary, where task data state it and field.toml names none.
    timings : tuple of StatedTiming
        What logs state of their sensors' timing, one a log that states any.
    """

    table: gpd.GeoDataFrame
    detected: tuple[tuple[str, tuple[Detected, ...]], ...]
    notes: tuple[str, ...]
    edge: gpd.GeoSeries | None = None
    timings: tuple[StatedTiming, ...] = ()


def read_points(field: Field) -> PointsRead:
    """Every log of the field, one after the other, in the order of field.toml; task data count one log for each time log.

    Returns
    -------
    PointsRead
        Empty table where the field names no log. Where logs differ in their coordinate
        system all are turned to longitude and latitude.

    Raises
    ------
    ReadError
        A log cannot be read, lacks what is needed, or holds an impossible value.
    """
    parts: list[PointsRead] = []
    first = 0
    for part in field.facts.points:
        parts.append(_part(field, part, first))
        first = int(parts[-1].table["log"].iloc[-1]) + 1
    if not parts:
        return PointsRead(_empty(), (), ())
    tables = [part.table for part in parts]
    if len({table.crs for table in tables}) > 1:
        tables = [table.to_crs(WGS84) for table in tables]
    table = tables[0] if len(tables) == 1 else gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), crs=tables[0].crs)
    return PointsRead(
        POINTS.check(table),
        tuple(found for part in parts for found in part.detected),
        tuple(note for part in parts for note in part.notes),
        _one_edge(parts),
        tuple(timing for part in parts for timing in part.timings),
    )


def _one_edge(parts: list[PointsRead]) -> gpd.GeoSeries | None:
    """The edge that parts state, of several all together."""
    edges = [part.edge.iloc[0] for part in parts if part.edge is not None]
    return gpd.GeoSeries([shapely.union_all(edges)], crs=WGS84) if edges else None


def _part(field: Field, part: PointsFile, first: int) -> PointsRead:
    """One entry of field.toml; its logs are numbered from `first`."""
    if holds_task_data(field.file(part.path), f"{field.id}/{part.path}"):
        return _task_data(field, part, first)
    return _log(field, part, first)


def _task_data(field: Field, part: PointsFile, first: int) -> PointsRead:
    """ISO 11783-10 task data, whose columns, units and coordinate system the standard fixes."""
    where = f"{field.id}/{part.path}"
    given = [key for key in ("columns", "crs", "missing", "interval") if getattr(part, key)]
    if given:
        raise ReadError(f"{where}: is ISO 11783-10 task data, whose meaning is fixed; leave {' and '.join(given)} out of its [[points]]")
    found = read_task_data(field.file(part.path), where, part.layer)
    table = points_of(found, field, part.machine, first)
    notes = [*found.notes, *_lacking(where, table)]
    edge = None
    if found.edge is not None and field.facts.boundary is None:
        edge = gpd.GeoSeries([found.edge], crs=WGS84)
        said = f"the field's boundary is the one in the task data ({area_ha(edge):.2f} ha)"
        notes.append(f"{where}: {said}; set boundary in field.toml to use another")
    timings = tuple(dataclasses.replace(log.timing, log=first + log.timing.log) for log in found.logs if log.timing)
    return PointsRead(table, tuple((f"{part.path}/{log.name}", log.detected) for log in found.logs), tuple(notes), edge, timings)


def _log(field: Field, part: PointsFile, number: int) -> PointsRead:
    where = f"{field.id}/{part.path}"
    raw = read_raw(field.file(part.path), where, part.layer, part.missing)
    found = columns_of(raw, part.columns, field.crop.bushel_lb, field.facts.header_width, part.crs)
    roles = {one.role: one for one in found}
    _enough(raw, roles)
    silent = _silent(raw, roles)
    roles = {role: one for role, one in roles.items() if role not in silent}
    x, y, crs = places_of(raw, roles, part.crs)
    columns: dict[str, Any] = {name: _values(raw, roles[role]) for role, name in MEASURED.items() if role in roles}
    times, notes = _times(raw, roles)
    if times.when is not None:
        columns["time"] = times.when
    columns["interval_s"] = _interval(columns.get("interval_s"), times, part, len(x))
    columns["width_m"], said = _width(columns.get("width_m"), field, raw)
    notes += [f"{raw.where}: {shown(column)} reads 0 in every record: taken as not logged" for column in silent.values()]
    notes += said
    if "record" in roles:
        columns["record"] = column_numbers(raw, roles["record"].column, MOST_RECORD)
    if "work" in roles:
        columns["work"] = _work(raw, roles["work"])
    columns["machine"] = _machine(raw, roles, part)
    columns["log"] = np.full(len(x), number, dtype=np.int64)
    if "pass" in roles:
        columns["pass_id"] = pd.factorize(raw.columns[roles["pass"].column])[0].astype(np.int64)
    notes += _lacking(raw.where, columns)
    table = gpd.GeoDataFrame(columns, geometry=shapely.points(x, y), crs=crs)
    return PointsRead(checked(table, POINTS, raw), ((part.path, tuple(found)),), tuple(notes))


def _enough(raw: Raw, roles: dict[str, Detected]) -> None:
    if roles.keys().isdisjoint({"mass_flow", "yield"}):
        names = ", ".join(str(name) for name in raw.columns.columns[:20])
        raise ReadError(
            f"{raw.where}: no column was understood as yield or mass flow (columns {shown(names, 160)}); "
            'name it under [points.columns], for example yield = { column = "...", unit = "bu/ac" }'
        )


def _silent(raw: Raw, roles: dict[str, Detected]) -> dict[str, str]:
    """Columns, by role, of sensors that never said anything but 0; of mass flow only where the log has a yield to go by."""
    asked = [role for role in _SENSORS if role in roles and (role != "mass_flow" or "yield" in roles)]
    read = {role: column_numbers(raw, roles[role].column) for role in asked}
    return {role: roles[role].column for role, values in read.items() if (values == 0).any() and not np.nan_to_num(values).any()}


def _values(raw: Raw, role: Detected) -> Floats:
    return column_numbers(raw, role.column) * role.factor


def _times(raw: Raw, roles: dict[str, Detected]) -> tuple[Times, list[str]]:
    if "time" not in roles:
        return Times(None, None), [f"{raw.where} has no time"]
    times = read_times(raw, roles["time"].column)
    return times, [f"{raw.where}: {times.note}"] if times.note else []


def _interval(logged: Floats | None, times: Times, part: PointsFile, records: int) -> Floats:
    """Seconds since the last record: logged, else from the clock, else as field.toml says, else unknown."""
    if logged is not None:
        return logged
    if times.seconds is not None:
        steps = np.diff(times.seconds, prepend=np.nan)
        return np.where((steps > 0) & (steps <= 60), steps, np.nan)
    return np.full(records, part.interval if part.interval is not None else np.nan)


def _width(logged: Floats | None, field: Field, raw: Raw) -> tuple[Floats, list[str]]:
    """The log's width [m] where it has one that can be, the header's elsewhere; and what is to be said of it."""
    records = len(raw.columns)
    if logged is None:
        return np.full(records, field.facts.header_width), []
    wider = logged > WIDEST_M
    width_m = np.where(np.isnan(logged) | wider, field.facts.header_width, logged)
    count = int(wider.sum())
    said = f"{raw.where}: the header's width is taken where the log's lies beyond {WIDEST_M:g} m (in {count:,} of {records:,} records)"
    return width_m, [*([said] if count else []), *_unlike_header(raw.where, width_m, field)]


def _unlike_header(where: str, width_m: Floats, field: Field) -> list[str]:
    """A log cut by quite another header than field.toml says: a slip of feet and metres, or of the field."""
    said_m, usual_m = field.facts.header_width, float(np.median(width_m)) if len(width_m) else 0.0
    if 0.75 <= usual_m / said_m <= 4 / 3:
        return []
    return [f"{where}: was mostly logged {usual_m:.2f} m wide, but header_width is {said_m:.2f} m in field.toml; one of them is wrong"]


def _work(raw: Raw, role: Detected) -> Floats:
    said = raw.columns[role.column].astype("string").str.strip().str.lower().str.removesuffix(".0")
    known = _WORK | _NO_WORK
    unknown = said[said.notna() & ~said.isin(list(known))]
    if len(unknown):
        raise ReadError(
            f'{raw.where}, row {raw.first_row + unknown.index[0]}: {role.column} "{shown(unknown.iloc[0])}" is neither working nor not '
            f'(known: {", ".join(known)}); set work = "" under [points.columns] to leave it out'
        )
    return said.map(known).to_numpy(dtype=float, na_value=np.nan)


def _machine(raw: Raw, roles: dict[str, Detected], part: PointsFile) -> pd.Series:
    if part.machine is not None or "machine" not in roles:
        return pd.Series([part.machine or ""] * len(raw.columns), dtype="str")
    return raw.columns[roles["machine"].column].astype("string").fillna("").astype("str").reset_index(drop=True)


def _lacking(where: str, columns: Mapping[str, object] | gpd.GeoDataFrame) -> list[str]:
    def known(name: str) -> bool:
        return name in columns and bool(np.isfinite(np.asarray(columns[name], float)).any())

    checks: list[tuple[bool, str]] = [
        (known("moisture_pct"), "has no moisture: loss cannot be joined with dryness, yield stays as logged"),
        (
            known("speed_m_s") or known("interval_s"),
            'has neither speed, time nor interval: loss cannot be joined with speed (set interval = "1 s" beside path if you know it)',
        ),
        (known("mass_flow_kg_s"), "has no mass flow: yield is taken as logged, at market moisture"),
    ]
    return [f"{where} {words}" for holds, words in checks if not holds]


def _empty() -> gpd.GeoDataFrame:
    columns: dict[str, pd.Series] = {"machine": pd.Series([], dtype="str"), "log": pd.Series([], dtype="int64")}
    return gpd.GeoDataFrame(columns, geometry=[], crs=WGS84)
