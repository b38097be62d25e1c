"""The long simulations hold their lines; together they write shared/expected/evidence.md (``make slow``)."""

from __future__ import annotations

import evidence
import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def measured():
    """What was measured so far; written as the table when every topic was."""
    found = []
    yield found
    if [topic for topic, _, _ in found] == list(evidence.TOPICS):
        evidence.TABLE.write_text(evidence.table(found), encoding="utf-8")


@pytest.mark.parametrize("topic", list(evidence.TOPICS))
def test_figures_hold_their_lines(topic, measured):
    """Every figure of a topic that is held against a line keeps to it."""
    rows, seconds = evidence.timed(topic)
    measured.append((topic, rows, seconds))
    assert [f"{row.what}: {row.measured}, wanted {row.line}" for row in rows if row.holds is False] == []
