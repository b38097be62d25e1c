"""Task data from the folder to one table a time log, and what is to be said of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from lossmap.base.errors import ReadError, shown
from lossmap.base.estimates import StatedTiming
from lossmap.base.grid import Floats
from lossmap.read.raw import Detected
from lossmap.read.taskdata.archive import Archive, opened
from lossmap.read.taskdata.choice import chosen_logs, some
from lossmap.read.taskdata.clock import times_of
from lossmap.read.taskdata.edges import edge_of
from lossmap.read.taskdata.header import Header, header_of
from lossmap.read.taskdata.motion import elevation_of, intervals_of, places_of, with_way_driven
from lossmap.read.taskdata.readings import Readings, main_device
from lossmap.read.taskdata.records import MOST_BINARY, Records, records_of
from lossmap.read.taskdata.roles import KNOWN, WET_YIELD, YIELD, roles_of, timing_of
from lossmap.read.taskdata.tasks import Description, Device, ListedLog, described
from lossmap.read.taskdata.totals import steps_m, unlike_totals

__all__ = ["TaskData", "TimeLog", "read_task_data"]

MOST_HEADER = 1_000_000

# Logs hold the way to the field too; with less than this of them inside, the operator chose another field.
LEAST_INSIDE = 0.5


@dataclass(frozen=True)
class TimeLog:
    """One time log.

    Attributes
    ----------
    name, task, field : str
        File name without ending; ids of its task and field, "" where none is said.
    machine : str
        The device's name; "" where the log does not say whose it is.
    longitude, latitude : array
        [deg], NaN where a record has no fix.
    columns : DataFrame
        One row a record: ``time`` [UTC], ``interval_s`` since the record before (NaN after a
        pause), ``distance_m`` (logged speed times interval), columns of POINTS in SI,
        ``wet_yield_kg_ha`` (as it came from the field), and the loss signal.
    timing : StatedTiming
        Its ``log`` counts the logs that were read, from 0.
    detected : tuple of Detected
    """

    name: str
    task: str
    field: str
    machine: str
    longitude: Floats
    latitude: Floats
    columns: pd.DataFrame
    timing: StatedTiming
    detected: tuple[Detected, ...]


@dataclass(frozen=True)
class TaskData:
    """The time logs of a folder or zip, the edge of the one field they were cut on, if known [deg], and what is to be said."""

    logs: tuple[TimeLog, ...]
    edge: shapely.Geometry | None
    notes: tuple[str, ...]


def read_task_data(path: Path, where: str, layer: str | None = None) -> TaskData:
    """Every time log of one field.

    Parameters
    ----------
    path : Path
        A folder or zip that holds a TASKDATA.XML, at the top or in a folder of its own.
    where : str
        The same as it shall stand in messages.
    layer : str, optional
        Which logs: a field's or task's id or name, or a log's name. Needed where the logs are of several fields.

    Raises
    ------
    ReadError
        No log can be read, none holds yield or a position, or they are of several fields and
        none was named. A fault of one log among others is a note.
    """
    with opened(path, where) as archive:
        description = described(archive)
        listed, notes = chosen_logs(archive, description, layer)
        read: list[tuple[TimeLog, tuple[str, ...]]] = []
        faults: list[str] = []
        for log in listed:
            try:
                read.append(_time_log(archive, description, log, len(read)))
            except ReadError as fault:
                faults += str(fault).splitlines()
    logs = [log for log, _ in read]
    if not logs:
        raise ReadError("\n".join([*faults, *notes]) or f"{where}: lists no time log; export task data that hold the harvest's logs")
    _enough(logs, where)
    edge, said = _edge(description, logs, where)
    return TaskData(tuple(logs), edge, (*description.notes, *notes, *faults, *_merged(read, where), *said))


def _time_log(archive: Archive, description: Description, listed: ListedLog, number: int) -> tuple[TimeLog, tuple[str, ...]]:
    """One log, and what is to be said of it.

    Raises
    ------
    ReadError
    """
    header, records, places, notes = _decoded(archive, listed)
    device = main_device(header, description.elements, YIELD) or _stated_device(description, listed)
    readings = Readings(header, records, places, description.elements, device)
    roles = roles_of(readings)
    when, said = times_of(records, listed.begins)
    longitude, latitude = places_of(records, header)
    if np.isnan(longitude).all():
        notes.append("records have no position")
    columns = with_way_driven({**intervals_of(when), **elevation_of(records, header), **roles.columns})
    notes += [*([said] if said else []), *roles.notes]
    notes += unlike_totals(columns, steps_m(longitude, latitude), readings, listed.totals)
    table = pd.DataFrame(columns, index=range(readings.count))
    if when is not None:
        table.insert(0, "time", pd.Series(when).astype("datetime64[ns]").dt.tz_localize("UTC"))
    machine = _machine(device, description)
    log = TimeLog(listed.name, listed.task, listed.field, machine, longitude, latitude, table, timing_of(readings, number), roles.detected)
    return log, tuple(notes)


def _decoded(archive: Archive, listed: ListedLog) -> tuple[Header, Records, dict[int, int], list[str]]:
    """Header and records; in which column of the values each index stands; what the binary lacks."""
    header_name, binary_name = f"{listed.name}.xml", f"{listed.name}.bin"
    header = header_of(archive.read(header_name, MOST_HEADER), archive.place(header_name))
    content = archive.read(binary_name, MOST_BINARY)
    # an index is one byte: what the header lists beyond it never comes
    wanted = [index for index, entry in enumerate(header.logged[:256]) if entry.ddi in KNOWN]
    records = records_of(content, header, wanted)
    count = len(records.fixed)
    if not count:
        raise ReadError(f"{archive.place(binary_name)}: {records.damage or 'holds no record'}; copy it from the machine again")
    notes = [f"the binary {records.damage}: the {count:,} records before it are kept"] if records.damage else []
    if listed.stated_bytes is not None and listed.stated_bytes > len(content):
        notes.append(f"the binary has only {len(content):,} of the {listed.stated_bytes:,} bytes that TASKDATA.XML states")
    return header, records, {index: column for column, index in enumerate(wanted)}, notes


def _stated_device(description: Description, listed: ListedLog) -> Device | None:
    """The machine of the task, or the only one there is."""
    named = {description.devices[id] for id in listed.devices if id in description.devices} or set(description.devices.values())
    return next(iter(named)) if len(named) == 1 else None


def _machine(device: Device | None, description: Description) -> str:
    if device is None:
        return ""
    alike = sum(other.name == device.name for other in description.devices.values())
    return shown(device.name if device.name and alike == 1 else f"{device.name} {device.id}".strip())


def _enough(logs: Sequence[TimeLog], where: str) -> None:
    """Refuse what no map can be made of."""
    if all({"mass_flow_kg_s", WET_YIELD}.isdisjoint(log.columns) for log in logs):
        raise ReadError(
            f"{where}: no time log holds yield or mass flow (DDI 0054, 0057; 0053, 0056 with the density 0079); "
            "give the task data of the machine that harvests"
        )
    if all(np.isnan(log.longitude).all() for log in logs):
        raise ReadError(f"{where}: no record of its time logs has a position; give task data logged with a receiver")


def _edge(description: Description, logs: Sequence[TimeLog], where: str) -> tuple[shapely.Geometry | None, list[str]]:
    """The boundary of the field that the logs' tasks name, or of the only one there is; not where most records lie outside of it."""
    named = {log.field for log in logs} - {""}
    known = [field for id, field in description.fields.items() if id in named or not named]
    edge = edge_of(known[0]) if len(known) == 1 else None
    if edge is None:
        return None, []
    longitude, latitude = (np.concatenate([getattr(log, name) for log in logs]) for name in ("longitude", "latitude"))
    fixed = np.isfinite(longitude)
    shapely.prepare(edge)
    share = float(np.mean(shapely.contains_xy(edge, longitude[fixed], latitude[fixed])))
    label = shown(f"{known[0].id} {known[0].name}".strip())
    if share < LEAST_INSIDE:
        return None, [f"{where}: the boundary of field {label} is not used: only {100 * share:.0f} % of the records lie in it"]
    return edge, []


def _merged(read: Sequence[tuple[TimeLog, tuple[str, ...]]], where: str) -> list[str]:
    """Each phrase once, after the names of all logs it is true of."""
    of: dict[str, list[str]] = {}
    for log, phrases in read:
        for phrase in phrases:
            of.setdefault(phrase, []).append(log.name)
    return [f"{where}, {some(names)}: {phrase}" for phrase, names in of.items()]
