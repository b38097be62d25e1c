"""A farm's readings: the file that grows by a row each time somebody measures a field or cuts one."""

from __future__ import annotations

import datetime
import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from lossmap.base.errors import ReadError, near, shown
from lossmap.base.farm import Reading
from lossmap.base.grid import Floats
from lossmap.base.settings import FIRST_DAY, LAST_DAY
from lossmap.read.csv_table import folded, read_csv
from lossmap.read.raw import Raw, column_numbers

__all__ = ["Logged", "read_readings"]

_COLUMNS = "field, date, moisture_pct and cut (yes where the field was cut that day)"
_YES = ("yes", "y", "x", "1", "1.0", "true", "cut")

# Grain outside of these was not measured, but mistyped [%].
_DRIEST, _DAMPEST = 5, 60


@dataclass(frozen=True)
class Logged:
    """What the file says of one field: its readings in the file's order, and the last day on which it was cut."""

    readings: tuple[Reading, ...] = ()
    cut_on: datetime.date | None = None


def read_readings(path: Path, where: str, known: Collection[str]) -> dict[str, Logged]:
    """Readings and cuts by field.

    Parameters
    ----------
    path : Path
    where : str
        The file as it shall stand in messages.
    known : collection of str
        Names of the farm's fields.

    Raises
    ------
    ReadError
        No column of fields or days, a row that is no day, of no field of the farm, or of a moisture that cannot be; lists all.
    """
    raw = _table(path, where)
    names, days = (raw.columns[column].astype("string").fillna("").str.strip() for column in ("field", "date"))
    moisture, is_cut = _moisture(raw), _is_cut(raw)
    out: dict[str, Logged] = {}
    faults = []
    for row, (name, day) in enumerate(zip(names, days, strict=True)):
        on, fault = _day(day)
        fault = fault or _fault(name, float(moisture[row]), known)
        if on is None or fault:
            faults.append(f"{where}, row {raw.first_row + row}: {fault}")
            continue
        so_far = out.get(name, Logged())
        read = (Reading(on, float(moisture[row])),) if math.isfinite(moisture[row]) else ()
        cut_on = max(on, so_far.cut_on or on) if is_cut[row] else so_far.cut_on
        out[name] = replace(so_far, readings=so_far.readings + read, cut_on=cut_on)
    if faults:
        raise ReadError("\n".join(faults))
    return out


def _table(path: Path, where: str) -> Raw:
    """The file with its columns in small letters."""
    raw = folded(read_csv(path, where), str.lower, ("field", "date", "moisture_pct", "cut"))
    names = list(raw.columns.columns)
    if "field" not in names or "date" not in names:
        raise ReadError(f"{where}: has no column {'date' if 'field' in names else 'field'}; it should hold {_COLUMNS}")
    return raw


def _moisture(raw: Raw) -> Floats:
    return column_numbers(raw, "moisture_pct") if "moisture_pct" in raw.columns else np.full(len(raw.columns), np.nan)


def _is_cut(raw: Raw) -> list[bool]:
    said = raw.columns["cut"] if "cut" in raw.columns else pd.Series("", index=raw.columns.index)
    return said.astype("string").fillna("").str.strip().str.lower().isin(_YES).to_list()


def _day(text: str) -> tuple[datetime.date | None, str]:
    """A day, and what is wrong with it."""
    try:
        on = datetime.date.fromisoformat(text)
    except ValueError:
        return None, f'date "{shown(text)}" is not a day; write 2025-10-18'
    if not FIRST_DAY <= on <= LAST_DAY:
        return None, f"date {on} is no day of a harvest ({FIRST_DAY.year} to {LAST_DAY.year}); correct it"
    return on, ""


def _fault(name: str, moisture_pct: float, known: Collection[str]) -> str:
    """What is wrong with the rest of a row; "" where nothing is."""
    if name not in known:
        return f'no field is called "{shown(name)}"; {near(name, known)}'
    if math.isfinite(moisture_pct) and not _DRIEST <= moisture_pct <= _DAMPEST:
        return f"moisture_pct {moisture_pct:g} is outside {_DRIEST} to {_DAMPEST} %; correct it"
    return ""
