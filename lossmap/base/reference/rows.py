"""The tables as they stand beside this file, read once."""

from __future__ import annotations

import csv
import functools
import tomllib
from importlib import resources
from types import MappingProxyType

__all__ = ["Row", "keys_of", "rows_of", "sources"]

Row = dict[str, str]


@functools.cache
def rows_of(name: str) -> tuple[Row, ...]:
    """Rows of a table, by the name of its file; texts as they stand, "" where a cell is empty."""
    return tuple(csv.DictReader(_text(name).splitlines()))


def keys_of(row: Row, column: str = "key") -> tuple[str, ...]:
    """Source keys in a cell."""
    return tuple(row[column].split())


@functools.cache
def sources() -> MappingProxyType[str, str]:
    """What each source key stands for."""
    return MappingProxyType(tomllib.loads(_text("sources.toml")))


def _text(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")
