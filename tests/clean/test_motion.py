"""Passes, their ends, and changes of speed."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.motion import passes, ramps, speed_changes
from lossmap.clean.track import track_of


def track(log):
    """The log as a path, every position known."""
    return track_of(log, np.ones(len(log), dtype=bool))


@pytest.mark.parametrize("clock", [True, False])
def test_passes_are_told_apart_by_pause_or_by_turn(straight_log, clock):
    """Six passes up and down are six, with a clock (pause) and without one (course)."""
    path = track(straight_log(clock=clock))
    pass_id = passes(path, np.ones(len(path.order), dtype=bool), 6.0, 45.0)
    lengths = np.unique(pass_id, return_counts=True)[1]
    assert (lengths > 100).sum() == 6


def test_lifting_the_header_ends_a_pass(straight_log):
    """Records without work belong to no pass and split the one around them."""
    path = track(straight_log(passes=1))
    working = np.ones(150, dtype=bool)
    working[70:75] = False
    pass_id = passes(path, working, 6.0, 45.0)
    assert (pass_id[70:75] == -1).all()
    assert pass_id[69] != pass_id[75]


@pytest.mark.parametrize(("interval", "first", "last"), [(1.0, 3, 6), (3.0, 1, 2)])
def test_ramps_are_seconds_not_records(straight_log, interval, first, last):
    """3 s and 6 s are three and six records at 1 Hz, one and two in a 3 s log."""
    log = straight_log(passes=1, clock=False)
    log["interval_s"] = interval
    log["speed_m_s"] = 2.0 / interval
    path = track(log)
    short, start, end = ramps(path, np.zeros(150, dtype=int), 3.0, 6.0, 24.0)
    assert (short.sum(), start.sum(), end.sum()) == (0, first, last)
    assert start[:first].all()
    assert end[-last:].all()


def test_short_passes_are_short_in_time(straight_log):
    """Twenty seconds are short, thirty are not."""
    path = track(straight_log(passes=1, seconds=50))
    pass_id = np.repeat([1, 2], [20, 30])
    short, _, _ = ramps(path, pass_id, 0.0, 0.0, 24.0)
    assert short.tolist() == [True] * 20 + [False] * 30


def test_a_change_between_passes_is_no_change():
    """The first record of a pass has no speed before it."""
    speed = np.array([2.0, 2.0, 3.0, 3.0])
    assert speed_changes(speed, np.array([1, 1, 2, 2]), 20.0).tolist() == [False] * 4
    assert speed_changes(speed, np.array([1, 1, 1, 1]), 20.0).tolist() == [False, False, True, False]
