"""Every file of the corpus ends as it says: a right answer, or one message and its exit code, and nothing half-written."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import bad_input
from corpus import CASES, Case


def ids(case: Case) -> str:
    """A case as pytest may call it."""
    return re.sub(r"[^\w .,-]", "_", case.id)[:80]


@pytest.mark.parametrize("case", [case for case in CASES.values() if not case.slow], ids=ids)
def test_bad_input_ends_as_the_corpus_says(case: Case, tmp_path: Path) -> None:
    """Exit code, message, files it was given, what is left, and seconds are those expected of the case."""
    end = bad_input.run(case, tmp_path)
    assert end.wrong == (), end.said[-1_500:]


def test_the_table_is_of_this_corpus() -> None:
    """shared/expected/bad-input.md was written from the cases that stand here, and explains all of them."""
    table = bad_input.TABLE.read_text(encoding="utf-8")
    total = re.search(r"^\| \*\*all\*\* \| (\d+) \| \d+ \| \d+ \| \d+ \| (\d+) \|", table, flags=re.MULTILINE)
    assert total is not None
    assert int(total[1]) == sum(not case.slow for case in CASES.values())
    assert int(total[2]) == 0
    assert "NOT AS EXPECTED" not in table
