from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.delay import as_set, earlier
from lossmap.clean.track import track_of


def test_shifting_there_and_back_is_nothing(straight_log):
    """A column moved ten seconds earlier and ten later is itself away from the ends."""
    log = straight_log(passes=1)
    track = track_of(log, np.ones(len(log), dtype=bool))
    values = np.sin(np.arange(150) / 9.0)
    again = earlier(earlier(values, track, 10.0), track, -10.0)
    assert again[20:130] == pytest.approx(values[20:130], abs=1e-9)
    assert earlier(values, track, 0.0) is values


def test_the_clock_counts_pauses(straight_log):
    """A reading after a pause of 30 s does not slide back over it."""
    log = straight_log(passes=2)
    track = track_of(log, np.ones(len(log), dtype=bool))
    values = np.repeat([1.0, 2.0], 150)
    assert earlier(values, track, 10.0)[139] == pytest.approx(1.0)


def test_what_is_set_is_said():
    """The report can tell a set delay from none."""
    assert as_set(10.0, "clean.moisture_delay").note == "as set by clean.moisture_delay"
    assert not as_set(0.0, "clean.flow_delay").applied
