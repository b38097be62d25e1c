"""What hardly a seed can rule out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2, poisson

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.surfaces.counted import Counted
from lossmap.surfaces.few import FEW, most_left, reaching

SEED = np.array([True])


@pytest.mark.parametrize("found", [0, 1, 4])
def test_the_limit_is_the_exact_one_of_a_poisson_count(found):
    """Truth: at the limit as few seeds or fewer are found once in twenty; it is half the chi square that tables give (Garwood)."""
    counted = Counted.total([0.0] * 4 + [float(found)], [0.4] * 5)
    limit = most_left(counted, SEED)
    assert poisson(limit * 2.0).cdf(found) == pytest.approx(0.05)
    assert limit == pytest.approx(chi2(2 * found + 2).ppf(0.95) / 2 / 2.0)


def test_the_rule_of_three():
    """No seed on one square metre leaves three possible."""
    assert most_left(Counted.total([0.0], [1.0]), SEED) == pytest.approx(3.0, abs=0.005)


def test_enough_seeds_speak_for_themselves():
    """From ten seeds on there is no such limit, nor where no count sees every part."""
    assert most_left(Counted.total([FEW], [1.0]), SEED) == 0
    apart = Counted(np.arange(2), np.zeros(2), np.ones(2), np.eye(2), np.ones(2), np.ones(2))
    assert most_left(apart, np.array([True, True])) == 0


def test_a_windrow_is_looked_at_closer():
    """Where residue lies four times as thick the same frame stands for four times the ground; ears are left out."""
    windrow = Counted(np.arange(1), np.zeros(1), np.ones(1), np.array([[1.0, 4.0, 0.0]]), np.ones(3), np.ones(1))
    assert most_left(windrow, np.array([True, True, False])) == pytest.approx(3.0 / 4, abs=0.002)


def test_an_interval_reaches_and_never_shrinks():
    """The wider end stands; what is not known stays so."""
    assert reaching(Estimate(1, 0.5, 2), 3) == Estimate(1, 0.5, 3)
    assert reaching(Estimate(1, 0.5, 2), 1) == Estimate(1, 0.5, 2)
    assert not reaching(NOTHING, 3)
