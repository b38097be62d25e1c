"""A file as it stands: its columns under their own names, and its places if it has any."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj

from lossmap.base.errors import ReadError, shown
from lossmap.base.grid import Floats

__all__ = ["Raw", "column_numbers", "crs_of"]


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


def column_numbers(raw: Raw, name: str) -> Floats:
    """A column as numbers, NaN where blank.

    Raises
    ------
    ReadError
        A value is no number; names the row and the remedy.
    """
    values = raw.columns[name]
    if values.dtype.kind in "iufb":
        return values.to_numpy(dtype=float, na_value=np.nan)
    text = values.astype("string").str.strip()
    numbers = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    blank = (text.isna() | (text == "")).to_numpy(dtype=bool)
    wrong = np.flatnonzero(np.isnan(numbers) & ~blank & (text.str.lower() != "nan").fillna(True).to_numpy(dtype=bool))
    if wrong.size:
        found = shown(text.iloc[wrong[0]])
        more = f" ({wrong.size} such rows)" if wrong.size > 1 else ""
        raise ReadError(
            f'{raw.where}, row {raw.first_row + wrong[0]}: {name} "{found}" is not a number{more}; '
            f'if it means "no value", set missing = ["{found}"] beside path in field.toml'
        )
    return numbers


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


def is_file_of(path: Path, *suffixes: str) -> bool:
    """Whether the file's name ends in one of the suffixes, whatever their case."""
    return path.name.lower().endswith(suffixes)
