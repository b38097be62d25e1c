"""The raw values of one log by data dictionary entry (DDI), and of which part of which machine they are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from lossmap.base.errors import shown
from lossmap.base.grid import Floats
from lossmap.read.taskdata.header import Header
from lossmap.read.taskdata.records import Records
from lossmap.read.taskdata.tasks import Device, DeviceElement

__all__ = ["Reading", "Readings", "carried", "main_device"]

# Where a quantity stands on several parts, the whole machine speaks before its parts (kinds of DET: 1 device,
# 2 function, 6 connector, 5 unit, 3 bin, 4 section, 7 navigation).
_RANK = {1: 0, 2: 1, 6: 2, 5: 3, 3: 4, 4: 5, 7: 6}


@dataclass(frozen=True)
class Reading:
    """One quantity of one part: raw whole numbers, NaN where a record has none.

    Attributes
    ----------
    how : str
        "logged", "fixed for the log", or "device description".
    """

    ddi: int
    element: str
    rank: tuple[bool, int]
    how: str
    values: Floats

    @property
    def column(self) -> str:
        """What it is called where people read of it."""
        return f"DDI {self.ddi:04X} of {shown(self.element)}"


class Readings:
    """All readings of a log.

    Parameters
    ----------
    header : Header
    records : Records
    places : mapping of int to int
        Index in the header's list to column of ``records.values``.
    elements : mapping of str to DeviceElement
    device : Device or None
        The machine whose log it is; its parts speak before others'.
    """

    def __init__(
        self, header: Header, records: Records, places: Mapping[int, int], elements: Mapping[str, DeviceElement], device: Device | None
    ) -> None:
        self.count = len(records.fixed)
        self._elements = elements
        self._device = device
        self._by_ddi: dict[int, list[Reading]] = {}
        for index, entry in enumerate(header.logged):
            if index in places and np.isfinite(records.values[:, places[index]]).any():
                self._add(entry.ddi, entry.element, "logged", records.values[:, places[index]])
            elif entry.constant is not None:
                self._add(entry.ddi, entry.element, "fixed for the log", self._same(entry.constant))
        for id, element in elements.items():
            for ddi, value in element.constants.items():
                if element.device == device and ddi not in self._by_ddi:
                    self._add(ddi, id, "device description", self._same(value))

    def _same(self, value: int) -> Floats:
        # a view of one number: a description may hold thousands of constants
        return np.broadcast_to(np.float64(value), (self.count,))

    def _add(self, ddi: int, element: str, how: str, values: Floats) -> None:
        known = self._elements.get(element)
        foreign = known is not None and self._device is not None and known.device != self._device
        rank = (foreign, _RANK.get(known.kind, 3) if known is not None else 3)
        self._by_ddi.setdefault(ddi, []).append(Reading(ddi, element, rank, how, values))

    def all(self, ddi: int) -> list[Reading]:
        """Readings of a quantity, the one that speaks for the machine first."""
        return sorted(self._by_ddi.get(ddi, []), key=lambda reading: reading.rank)

    def best(self, ddi: int) -> Reading | None:
        """The reading that speaks for the machine, if any."""
        return next(iter(self.all(ddi)), None)

    def state(self, ddi: int) -> Floats:
        """A quantity that holds until it is written anew; NaN before it is first known."""
        found = self.best(ddi)
        return np.full(self.count, np.nan) if found is None else carried(found.values)


def carried(values: Floats) -> Floats:
    """Each gap filled with the last value before it."""
    last = np.maximum.accumulate(np.where(np.isfinite(values), np.arange(len(values)), -1))
    return np.where(last >= 0, values[last], np.nan)


def main_device(header: Header, elements: Mapping[str, DeviceElement], telling: frozenset[int]) -> Device | None:
    """The machine that most of the entries with a `telling` DDI belong to, else most of all entries; None if no part is known."""
    for entries in ([entry for entry in header.logged if entry.ddi in telling], header.logged):
        found = Counter(elements[entry.element].device for entry in entries if entry.element in elements)
        if found:
            return found.most_common(1)[0][0]
    return None
