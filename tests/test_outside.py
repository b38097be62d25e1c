"""The table of numbers held against the outside is what the tests hold."""

from __future__ import annotations

import json
import re

import pytest

import outside
from outside import ROOT, TABLE, holding, listed


def test_every_row_has_its_test() -> None:
    """No row is left of a test that went, and each test that holds a number has a row."""
    assert {f"{file}::{test}" for file, *_, test in listed()} == set(holding()), "run make docs"


def test_every_worked_example_is_in_it() -> None:
    """All of shared/worked/agronomy.json, by their ids, and how many rows there are in all."""
    checks = json.loads((ROOT / "shared" / "worked" / "agronomy.json").read_text(encoding="utf-8"))
    ids = {what.split(" ")[0] for file, what, *_ in listed() if file == "tests/test_worked.py"}
    assert ids == {check["id"] for check in checks}
    assert f"{len(listed())} numbers" in TABLE.read_text(encoding="utf-8")


def test_every_source_key_is_known() -> None:
    """Where a source is a key of the reference tables, it stands in sources.toml."""
    keys = set(re.findall(r"^(\w+) *= ", (ROOT / "lossmap" / "base" / "reference" / "sources.toml").read_text(), re.MULTILINE))
    short = {word for _, _, source, *_ in listed() for word in re.findall(r"^[A-Z0-9]{3,}(?=,| |$)", source)}
    assert short
    assert short - keys == set()


def test_a_number_that_is_off_fails() -> None:
    """Beyond what its source allows, whatever the table says."""
    with pytest.raises(AssertionError, match="a made number"):
        outside.agrees("a made number", "nobody", 1.2, 1.0, 0.1)


def test_a_number_that_is_not_in_the_table_fails() -> None:
    """A right number too has to be shown."""
    with pytest.raises(AssertionError, match="run make docs"):
        outside.agrees("a made number", "nobody", 1.0, 1.0, 0.1)


def test_another_number_than_shown_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row whose number came out otherwise is found out, though both are within what the source allows."""
    row = outside.Row("a made number", "nobody", 1.0, 1.0, 0.1, outside._this_test())
    monkeypatch.setattr(outside, "listed", lambda: {row.key: (1.0, 0.95, 0.1)})
    with pytest.raises(AssertionError, match="other numbers"):
        outside.agrees("a made number", "nobody", 1.0, 1.0, 0.1)
