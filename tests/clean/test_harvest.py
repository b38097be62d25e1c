"""Yield as logged and recomputed: the overlap is divided out, thin slivers are not."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.drive import driven
from lossmap.clean.harvest import harvested
from lossmap.clean.log import Log
from lossmap.clean.track import track_of

WHOLE = 10 / (2 * 9) * 10_000 * (100 - 16) / (100 - 15.5)


def harvest_of(table, field, settings, share):
    """Of a log whose every place is known, at 15.5 % market moisture."""
    every = np.ones(len(table), dtype=bool)
    log = Log(table, track_of(table, every), every)
    return harvested(log, driven(log, field, settings, every), np.full(len(table), share), 15.5)


@pytest.mark.parametrize(("share", "times"), [(1.0, 1.0), (0.95, 1.0), (0.5, 2.0), (0.01, 20.0)])
def test_yield_is_over_the_width_freshly_cut(straight_log, field, settings, share, times):
    """Half a swath holds twice the yield; nearly a whole one is whole, and a sliver is taken for a twentieth at least."""
    found = harvest_of(straight_log(), field, settings, share)
    assert found.dry == pytest.approx(times * WHOLE)
    assert found.as_logged == pytest.approx(WHOLE)
    assert found.logged_m2 == pytest.approx(18.0)


def test_a_log_of_yield_alone_keeps_its_moisture(straight_log, field, settings):
    """Without mass flow the logged yield is taken as it stands, on the width really cut."""
    log = straight_log().assign(yield_kg_ha=8000.0).drop(columns="mass_flow_kg_s")
    found = harvest_of(log, field, settings, 0.8)
    assert found.as_logged == pytest.approx(8000.0)
    assert found.dry == pytest.approx(10_000.0)
