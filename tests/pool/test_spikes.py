"""Borrowing: no field is flagged where none has a slope, few wrongly where some have."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from lossmap.pool.curves import Curves
from lossmap.pool.effects import TAU_SD, RandomEffects
from lossmap.pool.spikes import chances


def curves_of(made):
    """Of the speed of a made season."""
    return Curves.of([field.drivers["speed"] for field in made.fields])


def test_no_field_is_flagged_where_none_has_a_slope(made_season):
    """At 0.90 any field in at most 2 % of 200 seasons of 20 fields, where drawing towards the mean alone flags in more."""
    rng = np.random.default_rng(1)
    flagged, drawn = [], []
    for _ in range(200):
        curves = curves_of(made_season(rng, 20))
        flagged.append(bool((chances(curves) >= 0.9).any()))
        above = RandomEffects.of(curves).of_fields()[:, curves.at > 0].sum(axis=1)
        drawn.append(bool((above >= 0.9).any()))
    assert np.mean(flagged) <= 0.02 < np.mean(drawn)


def test_mixed_seasons(made_season):
    """Half of 40 fields with a slope: of those flagged at most 10 % have none, and more are found than by their own counts."""
    rng = np.random.default_rng(2)
    right = wrong = own = 0
    for _ in range(25):
        made = made_season(rng, 40, 0.8, 0.2, 0.4, share=0.5)
        curves = curves_of(made)
        tracks = chances(curves) >= 0.9
        right += int((tracks & (made.slopes > 0)).sum())
        wrong += int((tracks & (made.slopes == 0)).sum())
        own += int((curves.own()[:, curves.at > 0].sum(axis=1) >= 0.985)[made.slopes > 0].sum())
    assert wrong <= 0.1 * (right + wrong)
    assert right > own


def test_a_slope_below_nothing_is_no_slope_above(made_season):
    """Fields whose loss falls with the driver are not flagged, however sure that is."""
    assert chances(curves_of(made_season(np.random.default_rng(3), 10, -1.0, 0.1, 0.2))).max() < 0.01


def test_one_field_is_the_sum_by_hand(seen):
    """Chance of one field: in or out evenly, share uniform, slab integrated over its priors, by plain sums."""
    curves = Curves.of([seen(1.0, 0.35)])
    rng = np.random.default_rng(4)
    means, taus = rng.normal(0, 1.2, 400_000), np.abs(rng.normal(0, TAU_SD * 1.2, 400_000))
    slopes = rng.normal(means, taus)
    with_slope = stats.norm.pdf(1.0, slopes, 0.35)
    # out: share 0; in: mean share 1/2
    spike, slab = 0.75 * stats.norm.pdf(1.0, 0, 0.35), 0.25 * with_slope.mean()
    wanted = 0.25 * (with_slope * (slopes > 0)).mean() / (spike + slab)
    assert chances(curves)[0] == pytest.approx(wanted, abs=0.02)
