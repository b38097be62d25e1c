"""Losses over a season: means by area, doubts that fields share and doubts that they do not."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from lossmap.base.estimates import Estimate
from lossmap.pool.losses import LEAST_LOG_SD, LogLosses, mean_loss, mean_losses


def test_the_mean_is_by_area(made_field):
    """A field of 60 ha that loses 100 and one of 20 ha that loses 200 kg/ha: 125."""
    fields = [made_field("a", 100.0, area_ha=60.0), made_field("b", 200.0, area_ha=20.0)]
    assert mean_loss(fields, "total").mean == pytest.approx(125.0)


def test_a_lone_field_s_mean_is_its_own(made_field):
    """One field of a crop: the season's line and the field's row say the same, to the digit."""
    one = made_field("a", 100.0, header=80.0)
    assert mean_losses([one])["total"] == one.loss["total"]
    assert mean_losses([one])["header"] == one.loss["header"]


def test_doubt_falls_with_fields_but_not_that_of_the_seed_s_mass(made_field):
    """Of 100 fields the counts' doubt is a tenth; what a seed weighs stays."""
    alone = [made_field(f"f{n}", log_sd=0.2) for n in range(100)]
    assert mean_loss(alone, "total").log_sd == pytest.approx(0.02, rel=0.02)
    shared = [dataclasses.replace(one, mass_doubt=0.15) for one in alone]
    left = (0.2**2 - 0.15**2) / 100
    assert mean_loss(shared, "total").log_sd == pytest.approx(math.sqrt(left + 0.15**2), rel=0.02)


def test_crops_do_not_share_a_seed(made_field):
    """Half the fields of another crop: their seeds err apart."""
    fields = [
        dataclasses.replace(made_field(f"f{n}", log_sd=0.15, crop="corn" if n % 2 else "soybean"), mass_doubt=0.15) for n in range(100)
    ]
    assert mean_loss(fields, "total").log_sd == pytest.approx(0.15 / math.sqrt(2), rel=0.02)


def test_sources_are_means_of_those_who_know(made_field):
    """A source that one of two fields knows is that field's; one that none knows is nothing."""
    found = mean_losses([made_field("a", 100.0, header=80.0), made_field("b", 200.0)])
    assert found["header"].mean == pytest.approx(80.0)
    assert not found["threshing"]
    assert found["total"].mean == pytest.approx(150.0)


def test_logarithms_leave_out_what_cancels(made_field):
    """Between fields of one crop the seed's mass cancels; nothing is told better than 2 %."""
    fields = [
        dataclasses.replace(made_field("a", log_sd=0.2), mass_doubt=0.1),
        dataclasses.replace(made_field("b", log_sd=0.1), mass_doubt=0.1),
    ]
    losses = LogLosses.of(fields, "total")
    assert losses.variance == pytest.approx([0.03, LEAST_LOG_SD**2])
    assert losses.log == pytest.approx(np.log([100.0, 100.0]))


def test_a_loss_of_nothing_has_no_logarithm(made_field):
    """A lower end of 0 is left out, not a crash."""
    nothing = dataclasses.replace(made_field("a"), loss={"total": Estimate(1.0, 0.0, 3.0)})
    assert LogLosses.of([nothing, made_field("b")], "total").fields == [made_field("b")]
    assert mean_loss([nothing], "total") != mean_loss([made_field("b")], "total")


def test_means_of_some(made_field):
    """By area, of the fields chosen."""
    losses = LogLosses.of([made_field("a", 100.0, area_ha=60.0), made_field("b", 200.0), made_field("c", 900.0)], "total")
    assert losses.mean(np.array([True, True, False])) == pytest.approx(125.0)
