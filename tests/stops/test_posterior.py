"""What one more stop would do is what it does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stops.made_ground import by_inverse, doubt_of, ground_of

from lossmap.stops.posterior import MapPosterior


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1), st.integers(0, 9), st.integers(0, 29))
def test_a_gain_foretold_is_the_gain(rng_seed, counted, row):
    """What a stop is said to take off each slope's variance and off the map's is what is gone once it is counted."""
    ground = ground_of(rng_seed, places=30)
    state = MapPosterior(ground, doubt_of(ground, np.arange(counted)))
    first, before = state.surface_sd() ** 2, state.slope_variance.copy()
    foretold = [state.slope_gain(column)[row] for column in (0, 1)], state.surface_gain()[row]
    state.count_at(row)
    assert before - state.slope_variance == pytest.approx(foretold[0], abs=1e-12)
    assert (first - state.surface_sd() ** 2) / first == pytest.approx(foretold[1], abs=1e-12)


def test_before_any_stop_the_prior_stands():
    """Without a count slopes have their prior variance; with some, and from the first stop on, that of one plain solve."""
    ground = ground_of(1, places=30)
    none = MapPosterior(ground, doubt_of(ground, np.arange(0)))
    assert none.slope_variance.tolist() == pytest.approx([1.2**2, 0.4**2])
    doubt = doubt_of(ground, np.arange(6))
    some = MapPosterior(ground, doubt)
    slopes, surface = by_inverse(ground, doubt, [])
    assert some.slope_variance == pytest.approx(slopes, rel=1e-9)
    assert some.surface_sd() ** 2 == pytest.approx(surface, rel=1e-9)
