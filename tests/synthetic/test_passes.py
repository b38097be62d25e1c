"""The machine goes over every square metre, as the plan has it."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
from synthetic.plans import QUIET, SMALL

from lossmap.base.errors import SettingsError
from lossmap.synthetic import OUTLINES, make
from lossmap.synthetic.outline import edge
from lossmap.synthetic.passes import way


@pytest.mark.parametrize("outline", sorted(OUTLINES))
@pytest.mark.parametrize("rounds", [0, 1])
def test_each_square_metre_is_cut_once(outline: str, rounds: int) -> None:
    """Freshly cut area adds up to the field's, whatever its outline (corners of rounds: 2 %)."""
    made = make(dataclasses.replace(QUIET, outline=outline, headland_rounds=rounds), 2)
    cut = (made.truth.records["fresh_width_m"] * made.points["distance_m"]).sum()
    assert cut == pytest.approx(made.boundary.area, rel=0.02)


def test_overlap_is_not_cut_twice() -> None:
    """With overlap the fresh width is the header less the overlap, and the area is still the field's."""
    made = make(dataclasses.replace(QUIET, overlap_m=1.5, headland_rounds=0), 2)
    records = made.truth.records
    cut = (records["fresh_width_m"] * made.points["distance_m"]).sum()
    inner = records[(records["pass_id"] > 0) & (records["pass_id"] < records["pass_id"].max())]
    assert cut == pytest.approx(made.boundary.area, rel=0.02)
    assert inner["fresh_width_m"].median() == pytest.approx(QUIET.header_width_m - 1.5, abs=QUIET.header_width_m / 18)


@pytest.mark.parametrize("two_ways", [True, False])
def test_directions(two_ways: bool) -> None:
    """Neighbouring passes run against each other, or all one way."""
    made = make(dataclasses.replace(QUIET, two_ways=two_ways, headland_rounds=0), 2)
    working = made.truth.records["working"]
    courses = made.points["heading_deg"][working].round().unique()
    assert sorted(courses) == ([20.0, 200.0] if two_ways else [20.0])


def test_a_field_narrower_than_the_header_is_refused() -> None:
    """No pass fits: said before anything is made."""
    with pytest.raises(SettingsError) as refusal:
        make(dataclasses.replace(SMALL, length_m=12, breadth_m=8), 1)
    assert str(refusal.value) == "FieldPlan: no pass fits into the outline; make it larger or the header narrower"


@pytest.mark.parametrize("outline", sorted(OUTLINES))
def test_the_way_is_one_line(outline: str) -> None:
    """Turns and cut pieces alternate from the way in to the way out, and each begins where the one before ends."""
    plan = dataclasses.replace(SMALL, outline=outline)
    pieces = way(plan, edge(plan), np.random.default_rng(1))
    assert [piece.is_turn for piece in pieces] == [True, False] * (len(pieces) // 2) + [True]
    for one, other in itertools.pairwise(pieces):
        np.testing.assert_array_equal(one.path[-1], other.path[0])
