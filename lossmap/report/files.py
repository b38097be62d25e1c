"""Files as every report writes them: the same bytes on every system, and our own words where the disk refuses."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from lossmap.base.errors import LossmapError, WriteError

__all__ = ["json_text", "write_text", "written"]


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
