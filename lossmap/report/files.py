"""Files as every report writes them: the same bytes on every system, and our own words where the disk refuses."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from lossmap.base.errors import LossmapError, WriteError

__all__ = ["csv_text", "json_text", "write_text", "written"]

#: A program that opens a table takes a cell that begins so for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def written(path: Path, writer: Callable[[Path], object], remedy: str) -> None:
    """Run one writer; a foreign refusal of the disk becomes ours, with the place and what to do.

    Raises
    ------
    WriteError
    """
    try:
        writer(path)
    except LossmapError:
        raise
    except OSError as fault:
        raise WriteError(f"{path}: cannot be written ({fault.strerror or fault}); {remedy}") from fault


def write_text(path: Path, text: str) -> None:
    """UTF-8 with plain line ends."""
    path.write_text(text, encoding="utf-8", newline="\n")


def json_text(content: Any) -> str:
    """A file of JSON that a person may read."""
    return json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def csv_text(rows: Sequence[Mapping[str, Any]], names: Sequence[str] = ()) -> str:
    """A table of values, `names` before any other column; text that a spreadsheet would run begins with an apostrophe."""
    columns = list(dict.fromkeys([*names, *(name for row in rows for name in row)]))
    out = io.StringIO()
    # by its own line end the writer also tells what to quote: a bare return in a cell would begin a row
    writer = csv.DictWriter(out, columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _cell(value) for name, value in row.items()} for row in rows)
    return out.getvalue().replace("\r\n", "\n")


def _cell(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value
