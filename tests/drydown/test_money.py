"""What grain brings, against tables of extension services."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.farm import Money
from lossmap.drydown.money import PARTS, discount, wet_mass, worth
from lossmap.drydown.waiting import Lost
from outside import agrees

NOTHING_LOST = Lost(np.array(0.0), np.array(0.0), np.array(0.0))


@pytest.mark.parametrize(("moisture", "short"), [(8, 5.43), (9, 4.4), (10, 3.3), (12, 1.14)])
def test_weight_short_of_dry_beans(moisture, short):
    """Percent of weight short of 13 % moisture (University of Nebraska, 2016), within 0.05 point."""
    agrees(f"weight short of beans at {moisture} % [%]", "UNL", 100 - float(wet_mass(100, moisture, 13)), short, 0.05)


@pytest.mark.parametrize(("moisture", "wet", "net"), [(18, 63.66, 747.81), (17, 62.89, 753.27), (16, 62.14, 758.62), (15, 61.41, 763.87)])
def test_the_michigan_table(moisture, wet, net):
    """60 bu/ac at 13 %, 12.90 USD, shrink 1.4 % a point, 0.05 USD a point (Michigan State E3487): USD an acre within 0.05."""
    agrees(f"wet bushels of 60 dry ones at {moisture} % [bu]", "MSUE", wet_mass(60, moisture, 13), wet, 0.005)
    here = worth(60, np.array(float(moisture)), NOTHING_LOST, Money(12.90, 0.05, 0.014, 0.0), 13.0)
    agrees(f"soybean at {moisture} %, net of drying and shrink [USD/ac]", "MSUE", here.net, net, 0.05)


def test_the_iowa_example():
    """1,000 wet bushels at 20.5 %, 3.50 USD, 2 % a point above 15 (Iowa State A2-32): 3,110 to 3,115 USD."""
    dry = 1000 * (100 - 20.5) / (100 - 15)
    here = worth(dry, np.array(20.5), NOTHING_LOST, Money(3.50, 0.0, 0.02, 0.0), 15.0)
    agrees("1,000 wet bushels of corn at 20.5 %, shrunk [USD]", "Iowa State University Extension A2-32", here.net, 3112.5, 2.51)


def test_discounts_go_by_the_last_step_passed():
    """At a step's own moisture the one below still holds."""
    steps = ((13.0, 0.01), (14.0, 0.02), (15.0, 0.05))
    assert discount(np.array([12.0, 13.0, 13.5, 14.0, 14.1, 20.0]), steps).tolist() == [0, 0, 0.01, 0.01, 0.02, 0.05]
    assert discount(np.array([20.0]), ()).tolist() == [0]


@given(
    moisture=st.floats(6, 40),
    preharvest=st.floats(0, 0.5),
    header=st.floats(0, 0.3),
    threshing=st.floats(0, 0.3),
    shrink=st.sampled_from([0.0, 0.014]),
)
def test_the_money_is_all_there(moisture, preharvest, header, threshing, shrink):
    """Net and parts add to yield times price, and only drying can be a gain."""
    lost = Lost(*(np.array(share) for share in (preharvest, header, threshing)))
    here = worth(10_000, np.array(moisture), lost, Money(0.17, 0.0018, shrink, 0.005, ((18.0, 0.03),)), 15.5, 30.0)
    assert tuple(here.parts) == PARTS
    assert float(here.net) + sum(float(part) for part in here.parts.values()) == pytest.approx(1700)
    assert all(float(part) >= -1e-9 for name, part in here.parts.items() if name != "drying")
    assert float(here.grain_kg_ha) == pytest.approx(10_000 * (1 - preharvest) * (1 - header - threshing))


def test_too_wet_costs_more_with_every_point():
    """Above the moisture at which it should be cut, a share goes for each point."""
    parts = [worth(10_000, np.array(m), NOTHING_LOST, Money(0.17, 0.0, 0.0, 0.0), 15.5, 30.0).parts["wet"] for m in (29.0, 31.0, 33.0)]
    assert float(parts[0]) == 0 < float(parts[1]) < float(parts[2])
