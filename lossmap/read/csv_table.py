"""Text tables: comma, semicolon or tab; decimal point or comma; UTF-8, UTF-16 or what old programs wrote."""

from __future__ import annotations

import codecs
import csv
import io
import itertools
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pandas as pd

from lossmap.base.errors import ReadError
from lossmap.read.raw import Raw, plain_file, reading, refuse_records

__all__ = ["folded", "read_csv"]

_DECIMAL_COMMA = re.compile(r"^\s*-?\d+,\d+\s*$")
# Spreadsheets write what parts the cells in a line of its own: sep=;
_BLANK_LINES = re.compile(r"(?:[^\S\r\n]*(?:\"?sep=[,;|\t]\"?[^\S\r\n]*)?(?:\r\n|\r|\n))+", re.IGNORECASE)
_CONTROL = re.compile(r"[\x00-\x1f\x7f\x85\u2028\u2029]+")
#: The most records there may be, with twenty-five columns; each takes some twenty bytes while it is read.
MOST_VALUES = 50_000_000
#: No machine logs a tenth of them.
MOST_COLUMNS = 10_000
_LOOKED_AT = 50
# of so many characters: no header line and fifty rows are longer
_LOOKED_INTO = 4_000_000


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
    blank = _BLANK_LINES.match(text)
    above = len(blank[0].splitlines()) if blank else 0
    text = text[blank.end() :] if blank else text
    start = text[:_LOOKED_INTO]
    separator = _separator(start)
    head = _first_rows(start, separator)
    names = _names(head, where)
    try:
        columns = _cut(text, names, separator, _decimal(head[1:], separator), missing)
    except (pd.errors.ParserError, pd.errors.ParserWarning, ValueError) as fault:
        raise ReadError(f"{where}: {_plain(str(fault), text, separator, len(names), above)}") from fault
    if columns.empty:
        raise ReadError(f"{where}: holds a header line and no record; check the export")
    return Raw(where, columns, first_row=above + 2)


def folded(raw: Raw, fold: Callable[[str], str], used: Sequence[str]) -> Raw:
    """The same table under names of one letter case, for files whose columns are known by heart.

    Raises
    ------
    ReadError
        Two columns become one of those that are used.
    """
    names = [fold(str(name)) for name in raw.columns.columns]
    if twice := [name for name in used if names.count(name) > 1]:
        raise ReadError(f"{raw.where}: two columns are called {twice[0]}, but for the letter case; keep one")
    return Raw(raw.where, raw.columns.set_axis(names, axis=1), raw.first_row)


def _decoded(path: Path, where: str) -> str:
    plain_file(path, where)
    with reading(where):
        content = path.read_bytes()
    # ends of lines of any kind: a row has at least one
    refuse_records(max(content.count(b"\n"), content.count(b"\r")) - 1, where)
    if max(content.count(mark) for mark in (b",", b";", b"\t", b"|")) > MOST_VALUES:
        raise ReadError(f"{where}: holds more than {MOST_VALUES:,} values, which no log of one field does; leave columns out, or split it")
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


def _rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Rows with their numbers, the first being 0; a row with a field longer than the csv module takes is left out."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    for number in itertools.count():
        try:
            yield number, next(reader)
        except StopIteration:
            return
        except csv.Error:
            continue


def _first_rows(text: str, separator: str) -> list[list[str]]:
    """The header and some rows below it; an empty header where it cannot be cut."""
    rows = list(itertools.takewhile(lambda row: row[0] <= _LOOKED_AT, _rows(text, separator)))
    return [row for _, row in rows] if rows and rows[0][0] == 0 else [[]]


def _separator(text: str) -> str:
    """The separator that cuts the first lines into the same number of parts, most parts winning."""
    best, most = ",", 1
    for separator in ("\t", ";", ",", "|"):
        counts = [len(row) for row in _first_rows(text, separator)]
        # a decimal comma also cuts lines evenly: it loses against the semicolon, which is tried first
        if counts[0] > most and sum(count == counts[0] for count in counts) >= 0.9 * len(counts):
            best, most = separator, counts[0]
            if separator in "\t;":
                break
    return best


def _decimal(rows: list[list[str]], separator: str) -> str:
    if separator == ",":
        return "."
    values = [value for row in rows for value in row]
    commas = sum(bool(_DECIMAL_COMMA.match(value)) for value in values)
    return "," if commas > sum("." in value for value in values) else "."


def _names(head: list[list[str]], where: str) -> list[str]:
    if not head[0]:
        raise ReadError(
            f"{where}: its header line cannot be cut into names (one is longer than {csv.field_size_limit():,} characters, "
            "or a quote is not closed); write short names"
        )
    if len(head[0]) > MOST_COLUMNS:
        raise ReadError(f"{where}: its header line has more than {MOST_COLUMNS:,} names; check the export")
    names = [_CONTROL.sub(" ", name).strip() for name in head[0]]
    if all(_is_number(name) for name in names):
        raise ReadError(f"{where}: its first line holds numbers, not names; add a header line")
    seen: dict[str, int] = {}
    unique = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        unique.append(name if seen[name] == 1 else f"{name} #{seen[name]}")
    return unique


def _cut(text: str, names: list[str], separator: str, decimal: str, missing: Sequence[str]) -> pd.DataFrame:
    """The text as a table; a row that is too long, which pandas would only warn of, is refused."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        return pd.read_csv(
            # as bytes: a stream of text takes four for each character
            io.BytesIO(text.encode()),
            sep=separator,
            header=0,
            names=names,
            decimal=decimal,
            keep_default_na=False,
            na_values=["", *missing],
            skipinitialspace=True,
            low_memory=False,
            index_col=False,
        )


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _plain(fault: str, text: str, separator: str, names: int, above: int) -> str:
    """What the parser stumbled over, in words of our own."""
    if match := re.search(r"EOF inside string starting at row (\d+)", fault):
        return f"row {int(match[1]) + 1 + above} opens a quote that is never closed; close it, or delete it"
    for number, row in _rows(text, separator):
        if len(row) > names:
            found = f"row {number + 1 + above} has {len(row)} values, the header {names} {'name' if names == 1 else 'names'}"
            return f"{found}; each row needs as many values as the header has names"
    return "its lines cannot be cut into rows and columns; export it again"
