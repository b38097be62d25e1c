"""A log as a path: its order, and the steps between records."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.track import runs, track_of


def path(log):
    """The log as a path."""
    return track_of(log, np.ones(len(log), dtype=bool))


def test_the_clock_orders_the_rows(straight_log):
    """Shuffled rows with times come out in the order of harvest, and `order` says which row each is."""
    log = straight_log()
    shuffled = log.sample(frac=1.0, random_state=2).reset_index(drop=True)
    track = path(shuffled)
    assert np.nanmax(track.step_m[~track.starts][:140]) == pytest.approx(2.0)
    assert (track.northing_m == log.geometry.y.to_numpy()).all()
    assert (shuffled.geometry.y.to_numpy()[track.order] == track.northing_m).all()


def test_runs_are_stretches_of_one_value():
    """Each stretch has the next number, a value that comes again is another; NaN is alike to nothing, itself neither."""
    assert runs(np.array([3, 3, -1, 3, 3])).tolist() == [0, 0, 1, 2, 2]
    assert runs(np.array([1.0, np.nan, np.nan, 1.0])).tolist() == [0, 1, 2, 3]
    assert runs(np.zeros(0)).size == 0


def test_two_machines_are_two_paths(straight_log):
    """A step from one machine's record to another's is no step."""
    log = straight_log()
    log["machine"] = np.where(np.arange(len(log)) < 450, "red", "blue")
    track = path(log)
    assert track.starts.sum() == 2
    assert np.isnan(track.step_m[track.starts]).all()


def test_a_wheel_glitch_is_mended_and_a_turn_is_not(straight_log):
    """59 m logged over a step of 2 m is 2 m; 2 m logged over a turn of 40 m stays 2 m."""
    log = straight_log(passes=2)
    log.loc[20, "distance_m"] = 59.0
    track = path(log)
    assert track.distance_m[20] == pytest.approx(2.0)
    assert track.distance_m[150] == 2.0


def test_no_clock_is_known_as_such(straight_log):
    """Without interval, speed and time, seconds are made from metres and that is said."""
    log = straight_log(clock=False).drop(columns=["interval_s", "speed_m_s"])
    track = path(log)
    assert not track.clock
    assert track.interval_s[5] == pytest.approx(1.0)
    assert path(straight_log()).clock
