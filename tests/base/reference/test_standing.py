"""Grain that waits: figures within their range, and crops that no source speaks of are refused."""

from __future__ import annotations

import pytest

from lossmap.base.errors import NoReference
from lossmap.base.reference import equilibria, standability, waiting


@pytest.mark.parametrize("name", ["corn", "soybean"])
def test_figures_of_waiting_lie_in_their_range(name: str) -> None:
    """Each has a value within what sources leave, a meaning and a key; both crops have the same figures."""
    figures = waiting(name)
    assert set(figures) == set(waiting("corn"))
    for figure in figures.values():
        assert figure.range.low <= figure.range.mean <= figure.range.high, figure.name
        assert figure.means
        assert figure.keys


def test_crops_without_a_source_are_refused() -> None:
    """Wheat has an equilibrium moisture and no source for its drying in the field; flax has neither."""
    assert {row.form for row in equilibria("wheat")} == {"henderson", "chung_pfost"}
    with pytest.raises(NoReference, match=r"no source says how wheat dries and what it loses while it waits; known: corn, soybean"):
        waiting("wheat")
    with pytest.raises(NoReference, match=r'"flax" has no equilibrium moisture'):
        equilibria("flax")


def test_stalks_rise() -> None:
    """More stalks that fail, more loss."""
    known = standability()
    assert list(known) == sorted(known)
    assert [times for _, times in known] == sorted(times for _, times in known)
