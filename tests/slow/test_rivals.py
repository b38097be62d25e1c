"""The score that judges all methods, and that every rival does its own job; quick, so not marked slow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from slow.rivals import LEVELS, RIVALS, crps

from outside import agrees


def test_score_of_a_normal_is_the_published_one():
    """Within 2 % of the closed form for a normal (Gneiting and Raftery 2007), near its middle and beyond its tails."""
    truth = np.array([0.0, 0.5, -1.0, 2.0, 4.0])
    density = np.exp(-(truth**2) / 2) / math.sqrt(2 * math.pi)
    wanted = truth * (2 * ndtr(truth) - 1) + 2 * density - 1 / math.sqrt(math.pi)
    off = np.abs(crps(truth, np.tile(ndtri(LEVELS), (5, 1))) / wanted - 1).max()
    agrees("score of a normal at 5 places, largest difference [of itself]", "Gneiting and Raftery 2007, closed form", off, 0, 0.02)


def test_score_of_a_log_normal_is_the_published_one():
    """Within 2 % of the closed form for a log-normal."""
    truth, sd = np.array([0.4, 1.0, 2.5]), 0.5
    z = np.log(truth) / sd
    wanted = truth * (2 * ndtr(z) - 1) - 2 * np.exp(sd**2 / 2) * (ndtr(z - sd) + ndtr(sd / math.sqrt(2)) - 1)
    off = np.abs(crps(truth, np.tile(np.exp(sd * ndtri(LEVELS)), (3, 1))) / wanted - 1).max()
    agrees("score of a log-normal at 3 places, largest difference [of itself]", "closed form", off, 0, 0.02)


@pytest.mark.parametrize("name", list(RIVALS))
def test_every_rival_gives_back_a_plain_field(name):
    """Loss that is 2 everywhere, give or take 0.05: every rival says 2 between the stops, and is sure of it."""
    rng = np.random.default_rng(1)
    stops, loss = rng.uniform(0, 500, (40, 2)), 2 + 0.05 * rng.standard_normal(40)
    quantiles = RIVALS[name](stops, loss, rng.uniform(0, 500, (30, 2)))
    assert np.median(quantiles, axis=1) == pytest.approx(np.full(30, 2.0), abs=0.15)
    assert np.ptp(quantiles, axis=1).max() < 0.5


@pytest.mark.parametrize("name", [name for name in RIVALS if name != "field mean"])
def test_every_rival_but_the_mean_follows_a_slope(name):
    """Loss that rises from 1 to 3 across the field: rivals that know of places see it rise."""
    rng = np.random.default_rng(2)
    stops = rng.uniform(0, 500, (80, 2))
    loss = 1 + stops[:, 0] / 250 + 0.05 * rng.standard_normal(80)
    low, high = np.median(RIVALS[name](stops, loss, np.array([[50.0, 250.0], [450.0, 250.0]])), axis=1)
    assert high - low > 0.8
