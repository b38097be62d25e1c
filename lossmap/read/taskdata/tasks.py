"""TASKDATA.XML and the files it is split into: which logs there are, of which machine, task and field."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from lossmap.base.errors import ReadError
from lossmap.read.taskdata.archive import TASK_FILE, Archive
from lossmap.read.taskdata.safe_xml import MOST_XML, Element, attribute, parsed, whole

__all__ = ["Description", "Device", "DeviceElement", "ListedLog", "Partfield", "described"]


@dataclass(frozen=True)
class Device:
    """A machine (DVC)."""

    id: str
    name: str


@dataclass(frozen=True)
class DeviceElement:
    """A part of a machine (DET): its device, its kind (1 device, 2 function, 4 section ...), what its description fixes by DDI."""

    device: Device
    kind: int
    constants: Mapping[int, int]


@dataclass(frozen=True)
class Partfield:
    """A field as the task data know it (PFD)."""

    id: str
    name: str
    lines: tuple[Element, ...]


@dataclass(frozen=True)
class ListedLog:
    """A time log that a task lists, or, without a task, one whose files lie there unlisted.

    Attributes
    ----------
    name : str
        File name without ending, in upper case.
    task, task_name, field : str
        Ids of its task and field, the task's name; "" where there is none.
    devices : tuple of str
        Ids of the machines the task names.
    begins : tuple of datetime
        When the task's stretches of work began, those whose zone is stated; the log's own
        alone where task data tell which that is.
    totals : mapping of int to float
        Growth of the task's totals over the log's stretch, by DDI; empty where it cannot be told.
    stated_bytes : int or None
        Length of the binary, where stated.
    listed : bool
        Whether a task lists it.
    """

    name: str
    task: str = ""
    task_name: str = ""
    field: str = ""
    devices: tuple[str, ...] = ()
    begins: tuple[datetime.datetime, ...] = ()
    totals: Mapping[int, float] = dataclasses.field(default_factory=dict)
    stated_bytes: int | None = None
    listed: bool = True


@dataclass(frozen=True)
class Description:
    """All that is said outside of the logs themselves."""

    elements: Mapping[str, DeviceElement]
    devices: Mapping[str, Device]
    fields: Mapping[str, Partfield]
    logs: tuple[ListedLog, ...]
    notes: tuple[str, ...]


def described(archive: Archive) -> Description:
    """Read TASKDATA.XML and what it refers to.

    Raises
    ------
    ReadError
        TASKDATA.XML cannot be read, or is something else.
    """
    root = parsed(archive.read(TASK_FILE, MOST_XML), archive.place(TASK_FILE))
    if root.tag != "ISO11783_TaskData":
        raise ReadError(f"{archive.place(TASK_FILE)}: is no ISO 11783-10 task data (its root is not ISO11783_TaskData); export it again")
    parts, notes = _parts(archive, root)
    devices: dict[str, Device] = {}
    elements: dict[str, DeviceElement] = {}
    for found in _all(parts, "DVC"):
        device = Device(attribute(found, "A"), attribute(found, "B"))
        devices[device.id] = device
        elements.update(_elements(found, device))
    fields = {field.id: field for field in (_partfield(found) for found in _all(parts, "PFD"))}
    logs: dict[str, ListedLog] = {}
    for found in _all(parts, "TSK"):
        logs.update({log.name: log for log in _logs(found) if log.name not in logs})
    unlisted = [name for name in _log_names(archive) if name not in logs]
    return Description(elements, devices, fields, (*logs.values(), *(ListedLog(name, listed=False) for name in unlisted)), tuple(notes))


def _parts(archive: Archive, root: Element) -> tuple[list[Element], list[str]]:
    """The root, and the root of each file it is split into; a file that is missing or broken is said."""
    parts, notes, left = [root], [], MOST_XML
    names = dict.fromkeys(f"{attribute(found, 'A')}.xml".lower() for found in root.findall("XFR"))
    for name in names:
        try:
            content = archive.read(name, left)
            parts.append(parsed(content, archive.place(name)))
            left -= len(content)
        except ReadError as fault:
            notes.append(str(fault))
    return parts, notes


def _all(parts: list[Element], tag: str) -> Iterator[Element]:
    for part in parts:
        yield from part.findall(tag)


def _elements(device_found: Element, device: Device) -> dict[str, DeviceElement]:
    fixed: dict[int, tuple[int, int]] = {}
    for found in device_found.iter("DPT"):
        entry = (whole(attribute(found, "A")), whole(attribute(found, "B"), 16), whole(attribute(found, "C")))
        if entry[0] is not None and entry[1] is not None and entry[2] is not None:
            fixed[entry[0]] = (entry[1], entry[2])
    elements = {}
    for found in device_found.iter("DET"):
        own = [whole(attribute(reference, "A")) for reference in found.iter("DOR")]
        constants = dict(fixed[object_id] for object_id in own if object_id in fixed)
        elements[attribute(found, "A")] = DeviceElement(device, whole(attribute(found, "C")) or 0, constants)
    return elements


def _partfield(found: Element) -> Partfield:
    return Partfield(attribute(found, "A"), attribute(found, "C"), tuple(found.findall("PLN")))


def _logs(task: Element) -> list[ListedLog]:
    listed = task.findall("TLG")
    stretches = [found for found in task.findall("TIM") if attribute(found, "D") in ("4", "")]
    own = len(stretches) == len(listed)
    growth = _growth(stretches)
    devices = tuple(attribute(found, "C") for found in task.findall("DAN"))
    logs = []
    for number, found in enumerate(listed):
        begins = [_instant(attribute(stretch, "A")) for stretch in (stretches[number : number + 1] if own else stretches)]
        logs.append(
            ListedLog(
                attribute(found, "A").upper(),
                attribute(task, "A"),
                attribute(task, "B"),
                attribute(task, "E"),
                devices,
                tuple(begin for begin in begins if begin is not None),
                growth[number] if own else {},
                whole(attribute(found, "B")),
            )
        )
    return logs


def _growth(stretches: list[Element]) -> list[dict[int, float]]:
    """By how much each total grew over each stretch: totals of a task may run on from one to the next, or start anew."""
    before: dict[int, int] = {}
    growth = []
    for stretch in stretches:
        now = {}
        for found in stretch.findall("DLV"):
            ddi, value = whole(attribute(found, "A"), 16), whole(attribute(found, "B"))
            if ddi is not None and value is not None:
                now[ddi] = value
        growth.append({ddi: float(value - before[ddi] if 0 < before.get(ddi, 0) <= value else value) for ddi, value in now.items()})
        before.update(now)
    return growth


def _instant(text: str) -> datetime.datetime | None:
    """A moment whose zone is stated, in UTC."""
    try:
        moment = datetime.datetime.fromisoformat(text)
        return None if moment.tzinfo is None else moment.astimezone(datetime.UTC)
    except (ValueError, OverflowError):
        return None


def _log_names(archive: Archive) -> list[str]:
    """Time logs whose both files are there, by name."""
    stems = [name.removesuffix(".bin") for name in archive.names if name.startswith("tlg") and name.endswith(".bin")]
    return [stem.upper() for stem in stems if archive.has(f"{stem}.xml")]
