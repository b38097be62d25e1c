"""Any table of a format that lossmap reads, by its name's ending: text, or what GDAL and Arrow read."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pandas as pd

from lossmap.base.errors import ReadError
from lossmap.read.csv_table import read_csv
from lossmap.read.raw import Raw, is_file_of, plain_file
from lossmap.read.vector import FORMATS, read_places

__all__ = ["TEXT", "read_raw"]

#: Endings of text tables.
TEXT = (".csv", ".txt", ".tsv")


def read_raw(path: Path, where: str, layer: str | None, missing: tuple[str, ...] = ()) -> Raw:
    """Any table of a format lossmap reads, as it stands.

    Parameters
    ----------
    path : Path
    where : str
        The file as it shall stand in messages.
    layer : str or None
        Which of several the file has.
    missing : tuple of str
        Texts that mean "no value" beside the empty one.

    Raises
    ------
    ReadError
        Another format, damaged, or without a record.
    """
    if path.is_dir() or not is_file_of(path, *TEXT, *FORMATS):
        found = "a folder without TASKDATA.XML" if path.is_dir() else path.suffix or "no ending"
        raise ReadError(
            f"{where}: is no file lossmap reads (found {found}); "
            "export CSV, GeoJSON, GeoPackage, Shapefile (also zipped), FlatGeobuf, GeoParquet, or an ISO 11783-10 folder or zip"
        )
    plain_file(path, where)
    if is_file_of(path, *TEXT):
        return read_csv(path, where, missing)
    raw = read_places(path, where, layer)
    return dataclasses.replace(raw, columns=raw.columns.apply(_without, words=missing)) if missing else raw


def _without(values: pd.Series, words: tuple[str, ...]) -> pd.Series:
    """A column without what means "no value": the words themselves, and the numbers they write."""
    if values.dtype.kind in "iuf":
        marks = pd.to_numeric(pd.Series(words, dtype="str"), errors="coerce").dropna()
        return values.mask(values.isin(marks)) if values.isin(marks).any() else values
    return values.mask(values.isin(words)) if values.isin(words).any() else values
