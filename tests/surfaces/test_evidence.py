"""What goes to verdicts and seasons is what the model has."""

import numpy as np
import pytest

from lossmap.base.estimates import NOTHING
from lossmap.base.logloss import Hinge
from lossmap.surfaces.evidence import BEYOND, no_evidence, slope_evidence, whole_posterior


@pytest.fixture(scope="module")
def model(made, fitted):
    """Of two knots of speed and one of moisture."""
    return fitted(made, knots=((1.5, 2.0), (13.0,)))


def test_beginnings_make_up_the_slope(model):
    """Slope, its sd and the knot are those of the beginnings averaged by weight, which is the chance that the driver acts at all."""
    found = slope_evidence(model, "speed", 30, NOTHING, 0.2)
    weight, slope, sd = np.array([(one.weight, one.slope, one.sd) for one in found.beginnings]).T
    share = weight / weight.sum()
    assert [one.reference for one in found.beginnings] == [1.5, 2.0]
    assert share @ slope == pytest.approx(found.slope.mean)
    assert np.sqrt(share @ (sd**2 + slope**2) - (share @ slope) ** 2) == pytest.approx(found.sd)
    assert share @ [1.5, 2.0] == pytest.approx(found.reference)
    assert weight.sum() == pytest.approx(sum(group.weight for key, group in model.groups_.items() if key[0] >= 0))
    assert (found.stops, found.coincidence) == (30, 0.2)


def test_ground_beyond_the_beginnings_is_the_field_s(made, model):
    """Equally likely values, rising, whose mean is that of all cells beyond either beginning, by its weight."""
    found = slope_evidence(model, "speed", 30, NOTHING, 0.2)
    whole = whole_posterior(model, "speed", made["cell_speed"], found.beginnings)
    assert len(whole.beyond) == BEYOND
    assert list(whole.beyond) == sorted(whole.beyond)
    weight = [one.weight for one in found.beginnings]
    wanted = np.average([Hinge("speed", one.reference).of(made["cell_speed"]).mean() for one in found.beginnings], weights=weight)
    assert np.mean(whole.beyond) == pytest.approx(wanted, rel=0.03)
    assert whole.mean == pytest.approx(made["cell_speed"].mean())
    assert sum(whole.weights) == pytest.approx(1)
    assert np.dot(whole.weights, whole.means) == pytest.approx(found.slope.mean)


def test_a_driver_left_out_has_no_number(model):
    """Every figure unknown, no stop, and the reason."""
    found = no_evidence("dryness", "the log has no moisture")
    assert not (found.slope or found.share_kg_ha or found.beginnings)
    assert np.isnan([found.sd, found.chance, found.expected_sd, found.reference]).all()
    assert (found.stops, found.note) == (0, "the log has no moisture")
