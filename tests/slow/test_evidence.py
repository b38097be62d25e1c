"""The long simulations hold their lines; each writes its section of shared/expected/evidence.md (``make slow``)."""

from __future__ import annotations

import evidence
import pytest

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("topic", list(evidence.TOPICS))
def test_figures_hold_their_lines(topic):
    """Every figure of a topic that is held against a line within reach keeps to it; the topic's section is written."""
    rows, seconds = evidence.timed(topic)
    evidence.write(topic, rows, seconds)
    assert [f"{row.what}: {row.measured}, wanted {row.line}" for row in rows if row.is_missed] == []
