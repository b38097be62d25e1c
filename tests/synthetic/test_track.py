"""Steps of the machine's day: what they take in."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS
from synthetic.plans import QUIET

from lossmap.base.grid import Grid
from lossmap.synthetic import MadeField
from lossmap.synthetic.land import grown
from lossmap.synthetic.outline import edge
from lossmap.synthetic.track import driven


def test_yield_surface_is_what_was_cut(quiet: MadeField) -> None:
    """The mean of the true yield surface times the area is the dry mass in the tank."""
    dry = (100 - quiet.points["moisture_pct"]) / (100 - 13.0)
    tank = (quiet.points["mass_flow_kg_s"] * quiet.points["interval_s"] * dry).sum()
    surface = quiet.truth.surfaces["yield_kg_ha"].mean
    assert tank == pytest.approx(np.nanmean(surface) * quiet.boundary.area / 10_000, rel=0.02)


def test_moisture_falls_through_the_day(quiet: MadeField) -> None:
    """From the first tenth of the harvest to the last, the mean falls by about the planned drop."""
    moisture = quiet.truth.records.loc[quiet.truth.records["working"], "moisture_pct"].to_numpy()
    tenth = len(moisture) // 10
    fall = moisture[:tenth].mean() - moisture[-tenth:].mean()
    assert fall == pytest.approx(0.9 * QUIET.moisture_drop_pct, abs=3 * QUIET.moisture_sd_pct)


def test_a_step_is_as_long_as_its_speed_says() -> None:
    """On straight ground the way between the middles of two steps is the mean of their speeds times the time."""
    land = grown(QUIET, Grid.covering(edge(QUIET), CRS.from_epsg(QUIET.epsg), 5.0), np.random.default_rng(1))
    steps = driven(QUIET, land, edge(QUIET), np.random.default_rng(2))
    straight = (np.diff(steps.heading_deg) == 0) & (np.diff(steps.pass_id) == 0)
    way_m = np.hypot(*np.diff(steps.places_m, axis=0).T)
    np.testing.assert_allclose(way_m[straight], (steps.seconds * (steps.speed_m_s[1:] + steps.speed_m_s[:-1]) / 2)[straight], rtol=1e-6)
    assert straight.sum() > 100
    assert (steps.fresh_width_m[~steps.working] == 0).all()
