"""The binary of a time log: where each record starts, then all of its values at once.

Records differ in length, since each holds only the values that were due: a loop over
bytes finds where they start, everything after it is done on whole arrays.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats
from lossmap.read.taskdata.header import Header

__all__ = ["MOST_BINARY", "Records", "records_of"]

#: A month without a pause at a record a second.
MOST_BINARY = 256_000_000

# A value is its index in the header's list, one byte, and a whole number of four.
_VALUE_BYTES = 5
_RAW = np.dtype("<i4")
_DAY_MS = 86_400_000

Whole = npt.NDArray[np.integer]


@dataclass(frozen=True)
class Records:
    """What a binary holds.

    Attributes
    ----------
    fixed : structured array
        Time and position, one row a record, as the header's ``fixed`` says.
    values : array [record, wanted]
        Raw values of the wanted indices, NaN where a record has none.
    damage : str
        Where and why reading ended before the last byte; "" where it did not.
    """

    fixed: npt.NDArray[np.void]
    values: Floats
    damage: str


def records_of(content: bytes, header: Header, wanted: Sequence[int]) -> Records:
    """Read whole records up to the last byte, or to the first byte that cannot be one.

    Parameters
    ----------
    content : bytes
    header : Header
    wanted : sequence of int
        Indices into the header's list; the others are skipped.
    """
    # bytes are counted in 32 bits: MOST_BINARY is far below what they hold
    starts, end = _starts(content, header.fixed.itemsize)
    fixed = _view(content, header.fixed)[starts] if len(starts) else np.empty(0, header.fixed)
    rows, places = _places(starts + header.fixed.itemsize, fixed["count"])
    index = np.frombuffer(content, np.uint8)[places]
    sound = _sound(fixed, rows, index, len(header.logged))
    damage = ""
    if sound < len(fixed):
        damage = f"is damaged at byte {int(starts[sound]):,} of {len(content):,}, where a record cannot be read"
    elif end < len(content):
        damage = f"ends within a record at byte {end:,} of {len(content):,}"
    slot = np.full(256, -1, dtype=np.int16)
    slot[list(wanted)] = np.arange(len(wanted))
    column = slot[index]
    kept = np.flatnonzero((column >= 0) & (rows < sound) if sound < len(fixed) else column >= 0)
    values = np.full((sound, len(wanted)), np.nan)
    values[rows[kept], column[kept]] = _view(content, _RAW)[places[kept] + 1] if len(kept) else 0
    return Records(fixed[:sound], values, damage)


def _starts(content: bytes, size: int) -> tuple[Whole, int]:
    """Where each whole record starts, and the byte behind the last."""
    steps = [size + _VALUE_BYTES * count for count in range(256)]
    starts = array("q")
    at, count_at, last = 0, size - 1, len(content) - size
    while at <= last:
        starts.append(at)
        at += steps[content[at + count_at]]
    if at > len(content):
        at = starts.pop()
    return np.frombuffer(starts, dtype=np.int64) if starts else np.empty(0, np.int64), at


def _view(content: bytes, kind: np.dtype[Any]) -> npt.NDArray[Any]:
    """`kind` read at every byte: taking rows of it copies packed records at any place in one go."""
    return np.ndarray((max(len(content) - kind.itemsize + 1, 0),), kind, content, strides=(1,))


def _places(first: Whole, counts: npt.NDArray[np.uint8]) -> tuple[Whole, Whole]:
    """The record each value belongs to, and the byte at which it stands, of all values of all records one after the other."""
    rows = np.repeat(np.arange(len(counts), dtype=np.int32), counts)
    # place of a value = its record's first value + its length for each before it in the record
    ahead = np.cumsum(counts, dtype=np.int64) - counts
    return rows, np.arange(len(rows), dtype=np.int32) * _VALUE_BYTES + (first - ahead * _VALUE_BYTES).astype(np.int32)[rows]


def _sound(fixed: npt.NDArray[np.void], rows: Whole, index: npt.NDArray[np.uint8], logged: int) -> int:
    """How many records stand before the first that cannot be one.

    After a lost byte records are read out of step. That shows within a record or two: as a
    value the header does not list, or as another day together with an hour past midnight or
    a place off the earth. Either alone is a clock or a receiver that had nothing to say.
    """
    wrong = np.zeros(len(fixed), dtype=bool)
    wrong[rows[index >= logged]] = True
    if "day" in (fixed.dtype.names or ()):
        odd = fixed["time_ms"] > _DAY_MS
        for name, most in (("north", 900_000_000), ("east", 1_800_000_000)):
            if name in (fixed.dtype.names or ()):
                odd |= np.abs(fixed[name].astype(np.int64)) > most
        odd[1:] &= fixed["day"][1:] != fixed["day"][:-1]
        odd[:1] = False
        wrong |= odd
    return int(np.argmax(wrong)) if wrong.any() else len(fixed)
