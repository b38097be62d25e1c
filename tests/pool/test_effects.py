"""Random effects: against long integrals, on planted seasons, and beside fixed effects, which fail."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from lossmap.base.settings import SeasonSettings
from lossmap.pool.curves import Curves
from lossmap.pool.effects import ALIKE, MEAN_SD, TAU_SD, RandomEffects, estimates

SEASONS = 150
USUAL = SeasonSettings().tracks_chance


def pooled(made, taus=None):
    """Random effects of a made season."""
    curves = Curves.of([field.drivers["speed"] for field in made.fields])
    return RandomEffects.of(curves) if taus is None else RandomEffects.of(curves, taus)


def test_posterior_is_the_long_integral(seen):
    """Three fields: mean and sd of the mean slope, and mean of tau, as adaptive quadrature of the formulas has them."""
    told = [(0.2, 0.3), (1.1, 0.4), (0.7, 0.6)]

    def density(mean, tau):
        seen_each = [stats.norm.pdf(slope, mean, math.hypot(sd, tau)) for slope, sd in told]
        return math.prod(seen_each) * stats.norm.pdf(mean, 0, MEAN_SD * 1.2) * stats.norm.pdf(tau, 0, TAU_SD * 1.2)

    def moment(of):
        return integrate.dblquad(lambda tau, mean: of(mean, tau) * density(mean, tau), -3, 4, 0, 2.5, epsabs=1e-7)[0]

    whole = moment(lambda _mean, _tau: 1.0)
    mean, square, tau = (moment(of) / whole for of in (lambda m, t: m, lambda m, t: m * m, lambda m, t: t))
    found = RandomEffects.of(Curves.of([seen(*one) for one in told]))
    assert found.slope().mean == pytest.approx(mean, abs=0.005)
    sd = math.sqrt(found.of_means @ (found.means - found.slope().mean) ** 2)
    assert sd == pytest.approx(math.sqrt(square - mean**2), rel=0.02)
    assert found.between_sd().mean == pytest.approx(tau, rel=0.05)


@pytest.mark.parametrize("fields", [10, 40, 100])
def test_many_fields_are_the_closed_form(fields, made_season):
    """Fields whose own peaks lie all about the mean: moments of the mean slope and mean of tau are those summed over tau by formula."""
    made = made_season(np.random.default_rng(fields), fields, 0.4, 0.2, 0.7)
    # what each field saw, back from its posterior
    seen_each = np.array([one.drivers["speed"].means[0] * (1 + (0.7 / 1.2) ** 2) for one in made.fields])
    taus = np.linspace(0, 1.5, 3001)
    precision = 1 / (0.49 + taus**2)
    whole = fields * precision + (MEAN_SD * 1.2) ** -2
    means = precision * seen_each.sum() / whole
    log = (
        fields * np.log(precision) - np.log(whole) - precision * (seen_each**2).sum() + whole * means**2 - (taus / TAU_SD / 1.2) ** 2
    ) / 2
    shares = np.exp(log - log.max())
    shares /= shares.sum()
    found = pooled(made)
    assert found.slope().mean == pytest.approx(shares @ means, abs=0.005)
    sd = math.sqrt(shares @ (1 / whole + means**2) - (shares @ means) ** 2)
    assert math.sqrt(found.of_means @ (found.means - found.slope().mean) ** 2) == pytest.approx(sd, rel=0.02)
    assert found.between_sd().mean == pytest.approx(shares @ taus, rel=0.06)


def test_fixed_effects_are_the_textbook_s(seen):
    """Without differences between fields: precisions add, and the interval is that of a normal."""
    told = [(0.2, 0.3), (1.1, 0.4), (0.7, 0.6)]
    precision = (MEAN_SD * 1.2) ** -2 + sum(sd**-2 for _, sd in told)
    mean = sum(slope / sd**2 for slope, sd in told) / precision
    found = RandomEffects.of(Curves.of([seen(*one) for one in told]), ALIKE)
    half = 1.645 / math.sqrt(precision)
    assert (found.slope().mean, found.slope().low, found.slope().high) == pytest.approx((mean, mean - half, mean + half), abs=0.005)
    assert found.chance() == pytest.approx(stats.norm.cdf(mean * math.sqrt(precision)), abs=1e-3)


def test_no_effect_is_rarely_flagged(made_season):
    """Chance of what is told in at most 5 % of seasons of 3, 10 and 40 fields without any slope."""
    for fields in (3, 10, 40):
        rng = np.random.default_rng(fields)
        flags = [pooled(made_season(rng, fields)).chance() >= USUAL for _ in range(SEASONS)]
        assert np.mean(flags) <= 0.05


def test_slopes_scattered_around_nothing_are_no_effect(made_season):
    """At most 6 % of seasons of 20 flagged; fixed effects flag more than that."""
    rng = np.random.default_rng(7)
    made = [made_season(rng, 20, 0.0, 0.4, 0.3) for _ in range(SEASONS)]
    assert np.mean([pooled(one).chance() >= USUAL for one in made]) <= 0.06
    assert np.mean([pooled(one, ALIKE).chance() >= USUAL for one in made]) > 0.06


def test_moderate_slopes_that_vary_by_half(made_season, moderate):
    """Of 20 fields seen give or take 0.5: found in 95 % of seasons, the mean held by 86 to 96 % of intervals; by fewer of fixed effects."""
    slope = moderate["speed"]
    rng = np.random.default_rng(8)
    made = [made_season(rng, 20, slope, slope / 2, 0.35) for _ in range(SEASONS)]
    held = {}
    for name, taus in (("random", None), ("fixed", ALIKE)):
        slopes = [pooled(one, taus).slope() for one in made]
        held[name] = np.mean([one.low <= slope <= one.high for one in slopes])
    assert np.mean([pooled(one).chance() >= USUAL for one in made]) >= 0.95
    assert 0.86 <= held["random"] <= 0.96
    assert held["fixed"] < 0.82


def test_spread_between_fields_is_held(made_season):
    """A standard deviation drawn from its prior lies in 84 to 96 % of its intervals, 20 fields."""
    rng = np.random.default_rng(9)
    spreads = np.abs(rng.normal(0, TAU_SD * 1.2, SEASONS))
    found = [pooled(made_season(rng, 20, 0.8, spread, 0.35)).between_sd() for spread in spreads]
    assert 0.84 <= np.mean([one.low <= spread <= one.high for one, spread in zip(found, spreads, strict=True)]) <= 0.96


def test_drawn_slopes_are_nearer_the_truth_than_own(made_season):
    """Error of 20 fields' slopes below 0.6 of that of their own posteriors, and each interval holds its truth as it says."""
    rng = np.random.default_rng(10)
    errors, held = [], []
    for _ in range(40):
        made = made_season(rng, 20, 0.8, 0.3, 0.7)
        found = pooled(made)
        drawn, own = (
            np.array([(one.mean, one.low, one.high) for one in estimates(found.curves.at, of)])
            for of in (found.of_fields(), found.curves.own())
        )
        errors.append([((of[:, 0] - made.slopes) ** 2).mean() for of in (drawn, own)])
        held.append(((drawn[:, 1] <= made.slopes) & (made.slopes <= drawn[:, 2])).mean())
    of_drawn, of_own = np.sqrt(np.mean(errors, axis=0))
    assert of_drawn <= 0.6 * of_own
    assert 0.85 <= np.mean(held) <= 0.96


def test_two_thousand_fields_are_told_finer_than_one_step(made_season):
    """The interval is as narrow as it should be, and holds the truth."""
    found = pooled(made_season(np.random.default_rng(3), 2000, 0.8, 0.4, 0.5))
    wanted = 2 * 1.645 * math.hypot(0.4, 0.5) / math.sqrt(2000)
    slope = found.slope()
    assert slope.low <= 0.8 <= slope.high
    assert slope.high - slope.low == pytest.approx(wanted, rel=0.1)
    assert found.between_sd().mean == pytest.approx(0.4, abs=0.05)
