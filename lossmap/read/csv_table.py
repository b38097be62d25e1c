"""Text tables: comma, semicolon or tab; decimal point or comma; UTF-8, UTF-16 or what old programs wrote."""

from __future__ import annotations

import codecs
import csv
import io
import re
import warnings
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from lossmap.base.errors import ReadError
from lossmap.read.raw import Raw

__all__ = ["read_csv"]

_DECIMAL_COMMA = re.compile(r"^\s*-?\d+,\d+\s*$")
_LOOKED_AT = 50


def read_csv(path: Path, where: str, missing: Sequence[str] = ()) -> Raw:
    """The table of a text file.

    Parameters
    ----------
    path : Path
    where : str
        The file as it shall stand in messages.
    missing : sequence of str
        Texts that mean "no value" beside the empty one.

    Raises
    ------
    ReadError
        Empty, no header line, or a row with more values than the header has names.
    """
    text = _decoded(path, where)
    if not text.strip():
        raise ReadError(f"{where}: is empty; it should hold a header line and one line a record")
    head = text[:200_000].splitlines()[: _LOOKED_AT + 1]
    separator = _separator(head)
    names = _names(head[0], separator, where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            columns = pd.read_csv(
                io.StringIO(text),
                sep=separator,
                header=0,
                names=names,
                decimal=_decimal(head, separator),
                keep_default_na=False,
                na_values=["", *missing],
                skipinitialspace=True,
                low_memory=False,
                index_col=False,
            )
    except (pd.errors.ParserError, pd.errors.ParserWarning, ValueError) as fault:
        raise ReadError(f"{where}: {_plain(str(fault))}; each row needs as many values as the header has names") from fault
    if columns.empty:
        raise ReadError(f"{where}: holds a header line and no record; check the export")
    return Raw(where, columns, first_row=2)


def _decoded(path: Path, where: str) -> str:
    try:
        content = path.read_bytes()
    except OSError as fault:
        raise ReadError(f"{where}: cannot be read ({fault.strerror}); check its name and rights") from fault
    is_utf16 = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    encodings = ["utf-16"] if is_utf16 else ["utf-8-sig", "latin-1"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        return text
    raise ReadError(f"{where}: is not a text table; if it is another format, give it that format's ending")


def _separator(head: list[str]) -> str:
    """The separator that cuts the first lines into the same number of parts, most parts winning."""
    best, most = ",", 1
    for separator in ("\t", ";", ",", "|"):
        counts = [len(row) for row in csv.reader(head, delimiter=separator)]
        # a decimal comma also cuts lines evenly: it loses against the semicolon, which is tried first
        if counts[0] > most and sum(count == counts[0] for count in counts) >= 0.9 * len(counts):
            best, most = separator, counts[0]
            if separator in "\t;":
                break
    return best


def _decimal(head: list[str], separator: str) -> str:
    if separator == ",":
        return "."
    values = [value for row in csv.reader(head[1:], delimiter=separator) for value in row]
    commas = sum(bool(_DECIMAL_COMMA.match(value)) for value in values)
    return "," if commas > sum("." in value for value in values) else "."


def _names(header: str, separator: str, where: str) -> list[str]:
    names = [name.strip() for name in next(csv.reader([header], delimiter=separator))]
    if all(_is_number(name) for name in names):
        raise ReadError(f"{where}: its first line holds numbers, not names; add a header line")
    seen: dict[str, int] = {}
    unique = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        unique.append(name if seen[name] == 1 else f"{name} #{seen[name]}")
    return unique


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _plain(fault: str) -> str:
    match = re.search(r"Expected (\d+) fields in line (\d+), saw (\d+)", fault)
    return f"row {match[2]} has {match[3]} values, the header {match[1]} names" if match else fault.strip().splitlines()[-1]
