"""Flags: one reason a record, the first; a log: there and back between rows and the order of harvest."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.log import Flags, Log
from lossmap.clean.track import track_of


def test_the_first_reason_stands():
    """A record that two steps doubt has the reason of the first; what is counted comes in the order of the contract."""
    flags = Flags(4)
    flags.put(np.array([True, True, False, False]), "not working")
    flags.put(np.array([False, True, True, False]), "duplicate")
    assert flags.text().tolist() == ["not working", "not working", "duplicate", ""]
    assert list(flags.counted().items()) == [("duplicate", 1), ("not working", 2)]
    assert flags.worst() == "not working"
    assert flags.kept().tolist() == [False, False, False, True]


@pytest.fixture
def shuffled(straight_log):
    """A log whose rows lie about, one in seven of them no reading of its own."""
    table = straight_log(passes=2).sample(frac=1.0, random_state=4).reset_index(drop=True)
    readings = np.arange(len(table)) % 7 > 0
    return table, readings, Log(table, track_of(table[readings], np.ones(int(readings.sum()), dtype=bool)), readings)


def test_there_and_back(shuffled):
    """Columns come in the order of harvest and return to their rows; rows that are no reading hold what they are given."""
    table, readings, log = shuffled
    northing = log.column(log.track.northing_m, -1.0)
    assert (northing[readings] == table.geometry.y.to_numpy()[readings]).all()
    assert (northing[~readings] == -1.0).all()
    mask = table["width_m"].to_numpy() > 0
    assert log.ahead(mask).all()
    assert (log.back(np.ones(len(log.table), dtype=bool)) == readings).all()
    assert np.isnan(log.values("elevation_m")).all()


def test_speed_is_logged_else_driven(shuffled):
    """Where no speed was logged it is the distance over the interval."""
    table, readings, _ = shuffled
    table.loc[::2, "speed_m_s"] = np.nan
    log = Log(table, track_of(table[readings], np.ones(int(readings.sum()), dtype=bool)), readings)
    known = np.isfinite(log.values("speed_m_s"))
    assert 0 < known.sum() < known.size
    assert log.speed() == pytest.approx(2.0)
