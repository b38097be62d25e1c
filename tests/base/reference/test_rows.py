"""Tables of the trade: whole, and each row with a source that exists."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

import pytest

import lossmap.base
from lossmap.base.reference import sources
from lossmap.base.reference.rows import rows_of

TABLES = sorted(path.name for path in resources.files("lossmap.base.reference").iterdir() if path.name.endswith(".csv"))


NO_PUBLICATION = {"practice", "memory"}  # said as such wherever a figure has no better


def _keys_in_tables() -> set[str]:
    return {
        key
        for name in TABLES
        for row in rows_of(name)
        for column, cell in row.items()
        if column == "key" or column.endswith("_source")
        for key in cell.split()
    }


def _keys_in_docstrings() -> set[str]:
    package = Path(lossmap.base.__file__).parents[1]
    cited = re.compile(r"\[([A-Z][A-Za-z0-9]+(?:, [A-Z][A-Za-z0-9]+)*)\]")
    return {key for path in package.rglob("*.py") for found in cited.findall(path.read_text(encoding="utf-8")) for key in found.split(", ")}


def test_every_source_that_is_named_exists() -> None:
    """A figure whose source is not listed has none."""
    assert _keys_in_tables() <= set(sources())


def test_every_source_that_exists_is_named() -> None:
    """A source that no table and no docstring names is left over."""
    assert set(sources()) <= _keys_in_tables() | _keys_in_docstrings()


@pytest.mark.parametrize("name", TABLES)
def test_tables_are_whole(name: str) -> None:
    """No row is longer or shorter than its header; every row of advice and caution has a key."""
    for row in rows_of(name):
        assert None not in row
        assert None not in row.values()
        assert row.get("key", "x").strip(), row


def test_what_has_no_publication_says_so() -> None:
    """The two keys that are no publications say what they are."""
    assert sources()["practice"] == "common practice, no source"
    assert sources()["memory"] == "from memory"
    assert set(sources()) >= NO_PUBLICATION
