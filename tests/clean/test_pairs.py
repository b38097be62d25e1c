"""Pairs: abreast, on neighbouring passes that ran against one another, and well inside them."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.pairs import MARGIN_S, neighbour_pairs
from lossmap.clean.track import track_of


def paired(log, seconds=150):
    """Pairs of a log whose passes are so many records long, and where each side lies."""
    track = track_of(log, np.ones(len(log), dtype=bool))
    pass_id = np.arange(len(log)) // seconds
    pairs = neighbour_pairs(track, pass_id, 9.0)
    places = [
        np.column_stack([np.interp(when, pairs.clock_s, side) for side in (track.easting_m, track.northing_m)])
        for when in (pairs.here_s, pairs.there_s)
    ]
    return pairs, *places


def test_the_two_sides_were_cut_abreast(straight_log):
    """Passes up and down, the second half a step out of line: both times of a pair are at one northing, one header apart."""
    log = straight_log()
    odd = (np.arange(len(log)) // 150) % 2 == 1
    log = log.set_geometry(log.geometry.translate(0, 0).where(~odd, log.geometry.translate(0, 0.7)), crs=log.crs)
    pairs, here, there = paired(log)
    assert pairs.enough()
    assert there[:, 1] == pytest.approx(here[:, 1], abs=1e-6)
    assert np.abs(there[:, 0] - here[:, 0]) == pytest.approx(9.0)
    assert (np.abs(pairs.there - pairs.here) == 1).all()


def test_both_neighbours_are_taken_and_ramps_are_not(straight_log):
    """A place between two passes is paired with each; none lies within the margin of its pass's ends."""
    pairs, here, there = paired(straight_log())
    sides = np.sign(there[:, 0] - here[:, 0])[pairs.here == 2]
    assert {-1.0, 1.0} <= set(sides)
    inside = 2.0 * MARGIN_S
    assert (here[:, 1] - 4_639_000 >= inside - 1e-6).all()
    assert (4_639_298 - here[:, 1] >= inside - 1e-6).all()


def test_passes_that_ran_alike_make_no_pair(straight_log):
    """Every pass to the north: nothing to compare; passes far apart neither."""
    log = straight_log()
    north = np.tile(np.arange(150) * 2.0, 6)
    alike = log.set_geometry(type(log.geometry).from_xy(log.geometry.x, 4_639_000 + north, crs=log.crs))
    assert not paired(alike)[0].enough()
    assert not paired(straight_log(spacing=30.0))[0].enough()
