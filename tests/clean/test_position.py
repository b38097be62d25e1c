"""Places that cannot be, and records written twice."""

from __future__ import annotations

import numpy as np
import shapely

from lossmap.clean.position import collapsed_sections, duplicates, jumps, known_places
from lossmap.clean.track import track_of


def test_places_that_are_none(straight_log):
    """NaN and another continent are no places of this field."""
    log = straight_log(passes=1)
    places = log.geometry.to_numpy().copy()
    places[3], places[5] = shapely.Point(np.nan, np.nan), shapely.Point(0, 0)
    known = known_places(log.set_geometry(places, crs=log.crs))
    assert np.flatnonzero(~known).tolist() == [3, 5]


def test_a_pause_is_no_jump(straight_log):
    """Coming back at the other end of the field after a pause is nobody's fault."""
    log = straight_log(passes=4)
    assert not jumps(track_of(log, np.ones(len(log), dtype=bool)), 6.0).any()


def test_standing_still_is_no_duplicate(straight_log):
    """The same place at another time is another record; the same place and time is one twice."""
    log = straight_log(passes=1)
    places = log.geometry.to_numpy().copy()
    places[11] = places[10]
    stood = log.set_geometry(places, crs=log.crs)
    known = np.ones(len(log), dtype=bool)
    assert not duplicates(stood, track_of(stood, known)).any()
    stood.loc[11, "time"] = stood["time"].iloc[10]
    assert np.flatnonzero(duplicates(stood, track_of(stood, known))).tolist() == [11]


def test_ordinary_rows_are_no_sections(straight_log):
    """A log with one row a reading is not touched."""
    log = straight_log()
    table, others = collapsed_sections(log)
    assert table is log
    assert not others.any()
