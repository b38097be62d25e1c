"""Evidence curves: posterior over prior, whatever the mixture."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats

from lossmap.pool.curves import Curves, spreading


def test_normal_evidence_is_its_own_likelihood(seen):
    """A posterior that came of seeing 0.7 give or take 0.4 gives that likelihood back, at any slope."""
    curves = Curves.of([seen(0.7, 0.4)])
    wanted = stats.norm.logpdf(curves.at, 0.7, 0.4)
    inside = wanted > wanted.max() - 20
    assert np.log(curves.likelihood[0])[inside] == pytest.approx((wanted - wanted.max())[inside], abs=1e-3)
    assert np.diff(curves.log_at(np.array([0.0, 1.0]))[0]) == pytest.approx(np.diff(stats.norm.logpdf([0.0, 1.0], 0.7, 0.4)))


def test_a_curve_has_one_constant(seen):
    """At slopes far from its height it is as low as between its steps: asked for a few slopes only, it is not lifted to 1 there."""
    curves = Curves.of([seen(0.7, 0.4), seen(-1.5, 0.3)])
    for some in (curves.at, curves.at[100:110]):
        step = np.searchsorted(curves.at, some)
        assert curves.log_at(some) == pytest.approx(np.log(curves.likelihood[:, step]))


def test_a_mixture_is_taken_whole(seen):
    """Posterior over prior of two normals, point by point."""
    one = dataclasses.replace(seen(0.7, 0.4), weights=(0.3, 0.7), means=(0.2, 0.9), sds=(0.3, 0.5))
    curves = Curves.of([one])
    density = 0.3 * stats.norm.pdf(curves.at, 0.2, 0.3) + 0.7 * stats.norm.pdf(curves.at, 0.9, 0.5)
    wanted = density / stats.norm.pdf(curves.at, 0, one.prior_sd)
    assert curves.likelihood[0] == pytest.approx(wanted / wanted.max(), rel=1e-9)
    own = curves.own()[0]
    assert own @ curves.at == pytest.approx(0.3 * 0.2 + 0.7 * 0.9, abs=1e-6)


def test_counts_that_say_nothing_make_a_flat_curve(seen):
    """A posterior that is the prior: every slope as likely as any other, and 0 in the middle of them."""
    prior = dataclasses.replace(seen(0.0, 1.0), means=(0.0,), sds=(1.2,))
    curves = Curves.of([prior])
    assert curves.likelihood == pytest.approx(np.ones((1, curves.at.size)))
    assert curves.at[curves.at.size // 2] == 0.0


def test_a_weight_of_nothing_changes_nothing(seen):
    """A normal of no weight, wherever it lies."""
    one = seen(0.7, 0.4)
    more = dataclasses.replace(one, weights=(*one.weights, 0.0), means=(*one.means, 3.0), sds=(*one.sds, 0.1))
    assert Curves.of([more]).likelihood == pytest.approx(Curves.of([one]).likelihood)


def test_normals_lie_on_the_steps_whole(seen):
    """Each adds to 1, also one at the very end; a flat curve under them stays flat."""
    at = Curves.of([seen(0.0, 1.0)]).at
    shares = spreading(at, np.array([at[0], 0.3, at[-1]]), 0.2)
    assert shares.sum(axis=0) == pytest.approx([1.0, 1.0, 1.0])
    assert np.ones(at.size) @ shares == pytest.approx([1.0, 1.0, 1.0])
    assert shares[:, 1] @ at == pytest.approx(0.3)
