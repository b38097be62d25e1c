"""The header of a time log (TLGnnnnn.XML): what stands in each of its binary records, and in which order.

An attribute that is there and empty is written in every record; one with a value holds
for the whole log; one that is absent is not logged (ISO 11783-10, formats of time logs).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from lossmap.base.errors import ReadError
from lossmap.read.taskdata.safe_xml import Element, attribute, number, parsed, whole

__all__ = ["NO_DDI", "Header", "Logged", "header_of"]

#: Stands for an entry that is no process data, or whose number cannot be read; it keeps its place in the list.
NO_DDI = -1

# PTN attribute -> (name here, type in the record, in their order); text in the header counts whole degrees and metres' thousandths
_POSITION = {
    "A": ("north", "<i4", 1e7),
    "B": ("east", "<i4", 1e7),
    "C": ("up_mm", "<i4", 1.0),
    "D": ("status", "u1", 1.0),
    "E": ("pdop", "<u2", 10.0),
    "F": ("hdop", "<u2", 10.0),
    "G": ("satellites", "u1", 1.0),
    "H": ("utc_ms", "<u4", 1.0),
    "I": ("utc_day", "<u2", 1.0),
}


@dataclass(frozen=True)
class Logged:
    """One entry of the header's list: a quantity of a device element, and its value where that holds for the whole log."""

    ddi: int
    element: str
    constant: int | None


@dataclass(frozen=True)
class Header:
    """What a record holds.

    Attributes
    ----------
    fixed : dtype
        The part that every record has, its last byte ``count`` the number of values behind it.
    constants : mapping
        Fields of the position that hold for the whole log, in the units of the record.
    logged : tuple of Logged
        By the index that a value carries in the record.
    """

    fixed: np.dtype[np.void]
    constants: Mapping[str, float]
    logged: tuple[Logged, ...]


def header_of(content: bytes, where: str) -> Header:
    """Understand a header.

    Raises
    ------
    ReadError
        Not well-formed, not a TIM element, or with a field whose place in the record is not known.
    """
    root = parsed(content, where)
    if root.tag != "TIM" or root.get("A") is None:
        raise ReadError(f"{where}: is no header of a time log (its root is not a TIM element with A); copy it from the machine again")
    odd = [name for name in ("B", "C", "D") if root.get(name) == ""]
    if odd:
        raise ReadError(f"{where}: TIM {odd[0]} is written in every record, for which the standard gives no place; ask who made the log")
    fields = [("time_ms", "<u4"), ("day", "<u2")] if attribute(root, "A") == "" else []
    position, constants = _position(root.find("PTN"))
    fixed = np.dtype([*fields, *position, ("count", "u1")])
    return Header(fixed, constants, tuple(_logged(element) for element in root.iter("DLV")))


def _position(element: Element | None) -> tuple[list[tuple[str, str]], dict[str, float]]:
    fields: list[tuple[str, str]] = []
    constants: dict[str, float] = {}
    for name, (field, kind, scale) in _POSITION.items():
        text = None if element is None else element.get(name)
        if text is None:
            continue
        if not text.strip():
            fields.append((field, kind))
        elif (value := number(text)) is not None:
            constants[field] = value * scale
    return fields, constants


def _logged(element: Element) -> Logged:
    ddi = whole(attribute(element, "A"), 16)
    # DFFE marks raw bus messages, DFFF a request; from E000 on the meaning is the maker's own
    known = ddi is not None and 0 <= ddi < 0xDFFE
    constant = whole(attribute(element, "B"))
    fits = constant is not None and -(2**31) <= constant < 2**31
    return Logged(ddi if known and ddi is not None else NO_DDI, attribute(element, "C"), constant if fits else None)
