"""Posterior of a stop's losses against closed forms and draws."""

import numpy as np
import pytest
from scipy import stats

from lossmap.loss.posterior import POINTS, PRIOR_OVER_FIELD, posterior, rates

NAN = np.nan


def test_one_position_is_a_gamma_distribution():
    """Poisson counts under an exponential prior: the gamma distribution of the textbook, at every stop."""
    counted = np.array([[0.0, NAN, NAN], [3.0, NAN, NAN], [50.0, NAN, NAN]])
    area = np.where(np.isnan(counted), NAN, 2.0)
    points = posterior(counted, area, 1.0, 0.0)[0]
    prior = PRIOR_OVER_FIELD * rates(counted, area)[0]
    for stop, seeds in enumerate(counted[:, 0]):
        exact = stats.gamma(seeds + 1, scale=1 / (2.0 + 1 / prior))
        found = np.quantile(points[stop], (0.05, 0.5, 0.95))
        assert found == pytest.approx(exact.ppf((0.05, 0.5, 0.95)), rel=0.05, abs=0.03)
        assert points[stop].mean() == pytest.approx(exact.mean(), rel=0.02)


@pytest.mark.parametrize(("ratio", "clumping"), [(1.0, 0.0), (4.0, 0.3)])
def test_three_positions_agree_with_draws(ratio, clumping):
    """Quantiles of P, H and T are those of a three million draws from the prior, weighted by the likelihood."""
    counted, area = np.array([[2.0, 9.0, 14.0], [1.0, 4.0, 20.0]]), np.full((2, 3), 1.0)
    points = posterior(counted, area, ratio, clumping)
    before, front, behind = rates(counted, area)
    prior = PRIOR_OVER_FIELD * np.array([before, front - before, (behind - front) / ratio])
    drawn = np.random.default_rng(0).exponential(prior[:, None], (3, 3_000_000))
    lying = np.stack([drawn[0], drawn[0] + drawn[1], drawn[0] + drawn[1] + ratio * drawn[2]])
    for stop in range(2):
        if clumping:
            size = 1 / clumping
            log = sum(stats.nbinom.logpmf(counted[stop, place], size, size / (size + lying[place])) for place in range(3))
        else:
            log = sum(stats.poisson.logpmf(counted[stop, place], lying[place]) for place in range(3))
        weight = np.exp(log)
        for source in range(3):
            order = np.argsort(drawn[source])
            below = np.cumsum(weight[order]) / weight.sum()
            exact = np.interp((0.05, 0.5, 0.95), below, drawn[source][order])
            assert np.quantile(points[source, stop], (0.05, 0.5, 0.95)) == pytest.approx(exact, rel=0.06, abs=0.1)


def test_points_are_never_negative_and_all_there():
    """Whatever was counted, as many finite points as asked for, none below 0."""
    rng = np.random.default_rng(1)
    counted = rng.poisson(rng.gamma(0.5, 20, (70, 3))).astype(float)
    counted[rng.random((70, 3)) < 0.3] = NAN
    points = posterior(counted, np.where(np.isnan(counted), NAN, rng.uniform(0.1, 5, (70, 3))), 3.0, 0.1)
    assert points.shape == (3, 70, POINTS)
    assert np.isfinite(points).all()
    assert (points >= 0).all()


def test_a_position_never_counted_is_held_at_nothing():
    """Without frames before and behind the header, what lies behind is all called one source."""
    counted = np.array([[NAN, NAN, 8.0], [NAN, NAN, 3.0]])
    points = posterior(counted, np.where(np.isnan(counted), NAN, 1.0), 1.0, 0.0)
    assert (points[:2] == 0).all()
    assert (points[2] > 0).all()


def test_rates_know_what_was_never_counted():
    """A position's rate is seeds over area, half a seed up; NaN where nothing was counted."""
    seeds, area = np.array([[1.0, NAN, 0.0], [4.0, NAN, NAN]]), np.array([[1.0, NAN, 2.0], [1.0, NAN, NAN]])
    assert rates(seeds, area) == pytest.approx([5.5 / 2, NAN, 0.25], nan_ok=True)
