"""Large files and bombs end as the corpus says, in bounded time and memory."""

from __future__ import annotations

from pathlib import Path

import pytest

import bad_input
from corpus import CASES, Case

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("case", [case for case in CASES.values() if case.slow], ids=lambda case: case.name)
def test_large_files_end_as_the_corpus_says(case: Case, tmp_path: Path) -> None:
    """Exit code, message, seconds and megabytes of a process of its own are those expected."""
    end = bad_input.run(case, tmp_path)
    assert end.wrong == (), end.said[-1_500:]
