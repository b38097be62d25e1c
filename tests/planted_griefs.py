"""Tasks that come to grief, each in another way, and what must be told of them whoever works."""

from __future__ import annotations

from planted_tasks import act

from lossmap.pipelines.workers import Lost, worked

__all__ = ["griefs_told", "outcomes"]

GRIEF = [("double", 1), ("die", 0), ("double", 2), ("sleep", 30), ("starve", 0), ("slip", 0), ("exit", 3), ("double", 3)]


def outcomes(crew, items=GRIEF, limit_s=1.0):
    """What became of each item; a loss by its reason."""
    return {item: found.why if isinstance(found, Lost) else found for item, found in worked(crew, act, items, limit_s)}


def griefs_told(found):
    """The planted outcomes, each by its own name."""
    assert found == {
        ("double", 1): 2,
        ("die", 0): "killed",
        ("double", 2): 4,
        ("sleep", 30): "limit",
        ("starve", 0): "memory",
        ("slip", 0): "fault",
        ("exit", 3): "killed",
        ("double", 3): 6,
    }
