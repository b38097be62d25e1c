"""Keys, priors and batches of the count model's combinations."""

import math

import numpy as np
import pytest

from lossmap.surfaces.combinations import PLAIN, hinges_of
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, PART_SD, RANGE, SLOPE_SD


@pytest.fixture(scope="module")
def combinations(made, fitted):
    """Of two knots of speed and three of moisture."""
    return fitted(made, knots=((1.5, 2.5), (12.0, 13.0, 14.0))).combinations_


def test_a_driver_is_in_or_out_with_equal_chance(combinations):
    """Twelve keys; the four sets of drivers weigh alike, however many knots a driver has."""
    weight = {key: math.exp(combinations.log_prior(key)) for key in combinations.keys}
    assert len(weight) == 3 * 4
    sets = {}
    for key, one in weight.items():
        drivers = tuple(hinge >= 0 for hinge in key)
        sets[drivers] = sets.get(drivers, 0.0) + one
    assert list(sets.values()) == pytest.approx([1.0] * 4)


def test_hinges_of_a_key():
    """Those that act, in the order speed, dryness."""
    assert [hinges_of(key) for key in (PLAIN, (1, -1), (-1, 3), (0, 2))] == [[], [1], [3], [0, 2]]


def test_the_prior_is_what_the_model_says_of_two_places(made, combinations):
    """Covariance of log loss at two stops: level, the slopes that act, and the process, by the formula."""
    row, key = 7, (0, 4)
    prior = combinations.prior(np.array([row]), key)
    found = prior.covariance(np.ones((1, 30, 1)))[0, 3, 8]
    apart = np.hypot(*(made["places"][3] - made["places"][8]))
    process = LATTICE.sd[row] ** 2 * np.exp(-apart / (RANGE[LATTICE.process[row]] * 866.0 * 2**0.5))
    fast = np.maximum(made["speed"][[3, 8]] - 1.5, 0).prod()
    dry = np.maximum(14.0 - made["moisture"][[3, 8]], 0).prod()
    assert found == pytest.approx(INTERCEPT_SD**2 + process + SLOPE_SD["speed"] ** 2 * fast + SLOPE_SD["dryness"] ** 2 * dry)


def test_parts_have_intercepts_of_their_own_only_where_there_are_several(made, fitted, parted_model):
    """One part is the level itself."""
    assert fitted(made).combinations_.own == 0
    assert parted_model(made).combinations_.own == PART_SD**2


def test_batches_are_all_rows_once(combinations):
    """In order, whatever the number of counts makes of their number."""
    assert np.concatenate(combinations.batches(LATTICE.rows)).tolist() == LATTICE.rows.tolist()
