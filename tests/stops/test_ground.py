"""Places where a stop may be, and the rules that every way of choosing keeps."""

from __future__ import annotations

import numpy as np
import pytest
from stops.made_ground import ground_of

from lossmap.stops.ground import evenly, first_best, usual


def test_ground_beside_other_ground_keeps_what_it_knows():
    """Places follow one another; a driver that the other lacks is a gap there, one that only the other knows is left out."""
    known, unknown = ground_of(1, places=5), ground_of(2, places=3, known=False)
    both = known.beside(unknown)
    assert len(both) == 8
    assert (both.places_m[5:] == unknown.places_m).all()
    assert (both.speed[:5] == known.speed).all()
    assert np.isnan(both.speed[5:]).all()
    assert unknown.beside(known).driven == {}


def test_some_ground_is_its_rows():
    """Places and drivers of the same rows, in the order asked for."""
    ground = ground_of(1)
    part = ground.some(np.array([7, 3]))
    assert (part.places_m == ground.places_m[[7, 3]]).all()
    assert (part.moisture == ground.moisture[[7, 3]]).all()


def test_equals_up_to_rounding_go_to_the_first():
    """A last digit decides nothing; a row that is taken is none, however useful."""
    useful = np.array([9.0, 1.0, 1.0 + 1e-12, 0.5])
    assert first_best(useful, np.array([False, True, True, True])) == 1
    assert first_best(useful, np.array([True, True, True, True])) == 0


@pytest.mark.parametrize(("number", "most"), [(5, 9), (7000, 400)])
def test_thinning_takes_rows_from_everywhere(number, most):
    """All where there is room; else as many as may be, each once, and no gap of the rows more than twice the usual one."""
    rows = evenly(number, most)
    assert len(rows) == len(set(rows.tolist())) == min(number, most)
    assert np.diff(rows, prepend=-1, append=number).max() <= 2 * max(1, number / most)


def test_what_is_usual_leaves_gaps_and_the_middle_alone():
    """One value of a thousand far out is drawn in to the others; those, and gaps, stay."""
    values = np.linspace(1.0, 2.0, 1000)
    values[3], values[500] = 40.0, np.nan
    drawn_in = usual(values)
    assert drawn_in[3] < 2.0
    assert np.isnan(drawn_in[500])
    assert (drawn_in[100:900] == values[100:900])[np.arange(100, 900) != 500].all()
    assert np.isnan(usual(np.full(3, np.nan))).all()
