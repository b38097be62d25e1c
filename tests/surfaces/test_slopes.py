"""Slopes as mixtures of normals: exact moments and quantiles, and the thinned curve."""

import numpy as np
import pytest
from scipy import optimize, stats

from lossmap.base.logloss import Hinge
from lossmap.surfaces.lattice import SLOPE_SD
from lossmap.surfaces.slopes import HingeSlopes, Slope, mean_knot, over_hinges

MIXTURE = Slope(np.array([0.2, 0.5, 0.3]), np.array([-0.4, 0.6, 1.5]), np.array([0.3, 0.2, 0.5]), 0.4)


def test_moments_chance_and_interval_are_the_mixture_s():
    """By a million draws, and by root search of its distribution."""
    rng = np.random.default_rng(1)
    which = rng.choice(3, 1_000_000, p=MIXTURE.weight)
    drawn = rng.normal(MIXTURE.mean[which], MIXTURE.sd[which])
    assert MIXTURE.moments() == pytest.approx((drawn.mean(), drawn.std()), abs=0.003)
    assert MIXTURE.chance() == pytest.approx((drawn > 0).mean(), abs=0.002)

    def below(value):
        return MIXTURE.weight @ stats.norm.cdf(value, MIXTURE.mean, MIXTURE.sd)

    found = MIXTURE.interval()
    ends = [optimize.brentq(lambda value, level=level: below(value) - level, -5, 5) for level in (0.05, 0.95)]
    assert (found.low, found.high) == pytest.approx(ends, abs=0.002)


def test_hinges_count_by_their_weight():
    """Two knots, one of three times the other's weight: one mixture, and a knot a quarter of the way."""
    parts = [
        HingeSlopes(Hinge("speed", knot), np.array([weight]), np.array([knot / 2]), np.array([0.3]))
        for knot, weight in ((2.0, 3.0), (3.0, 1.0))
    ]
    assert mean_knot(parts) == pytest.approx(2.25)
    assert over_hinges(parts, 0.5).moments()[0] == pytest.approx(0.75 * 1.0 + 0.25 * 1.5)


def test_a_thinned_posterior_draws_the_same_curve(planted, stops_and_cells, fitted):
    """Posterior over prior, wherever it is not below e^-6 of its height: within 0.15 of its logarithm; mean and sd untouched."""
    for rng_seed, (stops, frames) in enumerate(((8, 1), (12, 4), (24, 4), (48, 4))):
        rng = np.random.default_rng(rng_seed)
        made = stops_and_cells(planted.at_random(rng), rng, stops, frames, cell_m=40.0)
        for driver, full in fitted(made, knots=((1.5, 2.0), (12.5, 13.5))).slopes_.items():
            thin = full.thinned()
            assert thin.weight.size <= 60 < full.weight.size
            assert thin.moments() == pytest.approx(full.moments())
            assert thin.chance() == pytest.approx(full.chance(), abs=0.002)
            at = np.linspace(-4, 4, 201)[:, None] * SLOPE_SD[driver]
            curves = [np.log(stats.norm.pdf(at, one.mean, one.sd) @ one.weight) for one in (full, thin)]
            seen = (curves[0] - stats.norm.logpdf(at[:, 0], 0, SLOPE_SD[driver])) > -6
            assert np.abs(curves[0] - curves[1])[seen].max() < 0.15
