"""A file as it stands: its columns under their own names, and its places if it has any."""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj

from lossmap.base.errors import ReadError, TableError, shown
from lossmap.base.grid import Floats
from lossmap.base.tables import Contract, Frame

__all__ = [
    "MOST_RECORD",
    "MOST_RECORDS",
    "Detected",
    "Raw",
    "checked",
    "column_numbers",
    "crs_of",
    "is_file_of",
    "plain_file",
    "reading",
    "refuse_records",
]

#: No sensor of a combine writes a number beyond this; what does is a mark for "no value" or damage.
MOST = 1e12
#: Running numbers may be long; beyond this two of them cannot be told apart.
MOST_RECORD = 2.0**53
#: Fifty days of one a second; a map of them takes some ten gigabytes of memory.
MOST_RECORDS = 2_000_000
#: Larger is no table of one field: a record is some hundred bytes.
MOST_BYTES = 1_000_000_000


@dataclass(frozen=True)
class Raw:
    """What a reader found in one file.

    Attributes
    ----------
    where : str
        The file as it shall stand in messages.
    columns : DataFrame
        Numbers where every value is one, text otherwise; blanks are missing.
    first_row : int
        The number the file itself gives its first record (2 under a header line).
    x, y : array or None
        Places of its geometry, if it has one.
    crs : CRS or None
        The coordinate system it states.
    """

    where: str
    columns: pd.DataFrame
    first_row: int
    x: Floats | None = None
    y: Floats | None = None
    crs: pyproj.CRS | None = None


@dataclass(frozen=True)
class Detected:
    """One role found.

    Attributes
    ----------
    role, column, unit : str
    how : str
        How it was decided, in words.
    factor : float
        One of `unit` in SI.
    ratio : float
        What the ground says over what the column says; NaN where it could not be checked.
    """

    role: str
    column: str
    unit: str
    how: str
    factor: float
    ratio: float = float("nan")


def column_numbers(raw: Raw, name: str, most: float = MOST) -> Floats:
    """A column as numbers, NaN where blank.

    Raises
    ------
    ReadError
        A value is no number, infinite or beyond `most`; names the row and the remedy.
    """
    values = raw.columns[name]
    is_text = values.dtype.kind not in "iufb"
    numbers = _from_text(raw, name) if is_text else values.to_numpy(dtype=float, na_value=np.nan)
    wrong = np.flatnonzero(np.abs(numbers) > most)
    if wrong.size:
        found = shown(values.iloc[wrong[0]]).strip() if is_text else _as_typed(numbers[wrong[0]])
        raise ReadError(f"{_place(raw, wrong)}: {name} {found} is no number a machine writes{_more(wrong)}; {_as_gap(found)}")
    return numbers


def _from_text(raw: Raw, name: str) -> Floats:
    text = raw.columns[name].astype("string").str.strip()
    numbers = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    blank = (text.isna() | (text == "")).to_numpy(dtype=bool)
    wrong = np.flatnonzero(np.isnan(numbers) & ~blank & (text.str.lower() != "nan").fillna(True).to_numpy(dtype=bool))
    if wrong.size:
        found = shown(text.iloc[wrong[0]])
        remedy = _as_gap(found) if np.isfinite(numbers).any() else "the whole column holds text, so choose another"
        raise ReadError(f'{_place(raw, wrong)}: {name} "{found}" is not a number{_more(wrong)}; {remedy}')
    return numbers


def _place(raw: Raw, wrong: np.ndarray) -> str:
    return f"{raw.where}, row {raw.first_row + wrong[0]}"


def _more(wrong: np.ndarray) -> str:
    return f" ({wrong.size} such rows)" if wrong.size > 1 else ""


def _as_gap(found: str) -> str:
    return f'if it means "no value", set missing = ["{found}"] beside path in field.toml'


def _as_typed(number: float) -> str:
    """A number as people write it, short and without loss: "1e15", "-inf"."""
    text = f"{number:.15g}"
    return (text if float(text) == number else f"{number:.17g}").replace("e+", "e")


def checked(table: Frame, contract: Contract, raw: Raw) -> Frame:
    """A table under its contract; what it breaks is said of the file and the file's rows.

    Raises
    ------
    ReadError
    """
    try:
        return contract.check(table)
    except TableError as fault:
        faults = str(fault).removeprefix(f"{contract.name} ({contract.row}): ")
        faults = re.sub(r"(?<=the first in row )\d+", lambda row: str(raw.first_row + int(row[0])), faults)
        raise ReadError(f"{raw.where}: {faults}; correct the file") from fault


def crs_of(text: str, where: str) -> pyproj.CRS:
    """The coordinate system people typed.

    Raises
    ------
    ReadError
    """
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as fault:
        raise ReadError(f'{where}: crs "{shown(text)}" is not known; write for example "EPSG:4326"') from fault


@contextmanager
def reading(where: str) -> Iterator[None]:
    """Say in our own words what the system has against reading a file: gone meanwhile, no rights, a broken disk.

    Raises
    ------
    ReadError
    """
    try:
        yield
    except ReadError:
        raise
    except OSError as fault:
        raise ReadError(f"{where}: cannot be read ({fault.strerror or shown(fault)}); check its name and rights") from fault


def plain_file(path: Path, where: str) -> None:
    """Refuse what is no file with something in it: a pipe would be waited for, a device read for ever.

    Raises
    ------
    ReadError
    """
    with reading(where):
        found = path.stat()
    if not stat.S_ISREG(found.st_mode):
        raise ReadError(
            f"{where}: is {'a folder' if stat.S_ISDIR(found.st_mode) else 'a pipe or device'}, not a file; copy the file itself"
        )
    if found.st_size == 0:
        raise ReadError(f"{where}: is empty (0 bytes); export it again")
    if found.st_size > MOST_BYTES:
        raise ReadError(
            f"{where}: is too large for one field ({found.st_size / 1e9:,.1f} GB, at most {MOST_BYTES / 1e9:g} GB are read); split it"
        )


def refuse_records(count: int, where: str) -> None:
    """Refuse more records than one field has.

    Raises
    ------
    ReadError
    """
    if count > MOST_RECORDS:
        raise ReadError(
            f"{where}: holds {count:,} records, more than one field has (at most {MOST_RECORDS:,} are read); split it by field, or by year"
        )


def is_file_of(path: Path, *suffixes: str) -> bool:
    """Whether the file's name ends in one of the suffixes, whatever their case."""
    return path.name.lower().endswith(suffixes)
