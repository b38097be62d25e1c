"""Made fields hold the truth they claim: every later test of an estimator stands on this."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from synthetic.plans import SMALL

from lossmap.base.tables import COUNTS, POINTS
from lossmap.synthetic import OUTLINES, make


def test_same_seed_same_field() -> None:
    """Making is pure: plan and seed decide everything, and another seed another field."""
    one, two, other = make(SMALL, 3), make(SMALL, 3), make(SMALL, 4)
    pd.testing.assert_frame_equal(one.points, two.points)
    pd.testing.assert_frame_equal(one.counts, two.counts)
    assert not one.points["mass_flow_kg_s"].equals(other.points["mass_flow_kg_s"])


def test_making_leaves_the_global_random_state_alone() -> None:
    """No draw comes from numpy's global generator."""
    before = np.random.get_state()[1].copy()
    make(SMALL, 3)
    assert (np.random.get_state()[1] == before).all()


@pytest.mark.parametrize("outline", sorted(OUTLINES))
def test_tables_keep_their_contracts(outline: str) -> None:
    """Points and counts of every outline pass POINTS and COUNTS, in one metric CRS."""
    made = make(dataclasses.replace(SMALL, outline=outline), 1)
    POINTS.check(made.points)
    COUNTS.check(made.counts)
    assert made.points.crs == made.counts.crs == made.crs
    assert made.boundary.is_valid
    assert bool(made.boundary.interiors) == (outline == "holed")
