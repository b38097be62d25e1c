"""Which combinations of the count model carry weight.

Every combination is weighted by prior times evidence (Rue, Martino & Chopin 2009): rows of
the lattice, with and without each driver, at each knot. Most weigh next to nothing, and which
do is found from the model without drivers alone: hinges h add ``h S h'`` to the covariance C
of what the counts see, S the prior variances of their slopes, and with ``P = h' M h``,
``M = (C + 1/W)^-1`` and ``r = h' gradient`` the log evidence changes by
``r' (1/S + P)^-1 r / 2 - log|1 + S P| / 2`` to second order. Only what carries weight by this
is then stepped to its own mode.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from lossmap.base.grid import Floats
from lossmap.surfaces.combinations import DRIVERS, Combinations, Key, hinges_of
from lossmap.surfaces.laplace import Likelihood, laplace
from lossmap.surfaces.lattice import LATTICE, MIDDLE, Whole

__all__ = ["FINE", "Found", "Plain", "expected_sds", "searched"]

# Share of the weight of each set of drivers that is stepped to its own mode.
KEPT = 0.98
# How far a latent may still move, in the search for the combinations that matter and in those that are kept.
COARSE, FINE = 0.1, 0.01
# Most combinations that a second opinion on a driver is averaged over.
MOST_PLAIN = 12


@dataclass(frozen=True)
class Plain:
    """The likeliest combinations without any driver.

    Attributes
    ----------
    weight : array, ``[model]``
        Adds to 1.
    gradient : array, ``[model, count]``
    precision : array, ``[model, count, count]``
        As in `Fit`.
    """

    weight: Floats
    gradient: Floats
    precision: Floats

    def score(self, beyond: Floats) -> float:
        """How many standard errors the slope of a hinge not fitted lies above 0; `beyond` is ``[count]``."""
        pull, grip = self.gradient @ beyond, np.einsum("c,jcd,d->j", beyond, self.precision, beyond)
        return float(self.weight @ (pull / np.sqrt(np.maximum(grip, 1e-12))))


@dataclass(frozen=True)
class Found:
    """What the search has found.

    Attributes
    ----------
    kept : mapping of Key to array of int
        Rows of the lattice that carry weight; a key none of whose rows does is not there.
    modes : array, ``[row, count, part]``
        Likeliest latents without drivers, where steps to others may start.
    highest : float
        Largest log of prior times evidence: others are taken relative to it.
    plain : Plain
    """

    kept: Mapping[Key, Whole]
    modes: Floats
    highest: float
    plain: Plain


def searched(combinations: Combinations, likelihood: Likelihood) -> Found:
    """Find the combinations that carry `KEPT` of the weight."""
    plain, modes, pull, grip = _without_drivers(combinations, likelihood)
    scores: dict[Key, Floats] = {}
    for key in combinations.keys:
        used = hinges_of(key)
        gain = _gain(pull[:, used], grip[:, used][:, :, used], combinations.slope_variance[used]) if used else 0.0
        scores[key] = plain + gain + combinations.log_prior(key)
    highest = max(float(score.max()) for score in scores.values())
    return Found(_kept(scores), modes, highest, _likeliest(combinations, likelihood, plain, modes))


def expected_sds(combinations: Combinations, likelihood: Likelihood) -> dict[str, float]:
    """Posterior sd of each driver's slope from where and how much was looked at, averaged over the priors.

    Parameters
    ----------
    combinations : Combinations
    likelihood : Likelihood
        Its seeds are not looked at.
    """
    expected = {driver: 0.0 for driver in DRIVERS if any(hinge.driver == driver for hinge in combinations.hinges)}
    _, lever = likelihood.seen(np.zeros((1, *likelihood.expected.shape)))
    beyond, count = combinations.beyond, np.arange(likelihood.seeds.size)
    for rows in combinations.batches(LATTICE.rows) if expected else []:
        noisy = combinations.prior(rows).covariance(lever)
        noisy[:, count, count] += 1 / likelihood.expected_curvature(LATTICE.size[rows, None] * likelihood.breadth)
        grip = beyond.T @ np.linalg.solve(noisy, np.broadcast_to(beyond, (rows.size, *beyond.shape)))
        for driver in expected:
            expected[driver] += float(LATTICE.prior[rows] @ _slope_variance(combinations, driver, grip))
    return {driver: float(np.sqrt(variance)) for driver, variance in expected.items()}


def _without_drivers(combinations: Combinations, likelihood: Likelihood) -> tuple[Floats, Floats, Floats, Floats]:
    """Of each row without drivers: log of prior times evidence, mode, and what the counts say of all hinges, r and P above."""
    rows, hinges, beyond = LATTICE.rows, len(combinations.hinges), combinations.beyond
    score, modes = np.empty(rows.size), np.empty((rows.size, *likelihood.expected.shape))
    pull, grip = np.empty((rows.size, hinges)), np.empty((rows.size, hinges, hinges))
    # the mode in the lattice's middle is nearer to the others' than nothing is
    start = laplace(likelihood, combinations.prior(MIDDLE), LATTICE.size[MIDDLE], COARSE).mode
    for here in combinations.batches(rows):
        fit = laplace(likelihood, combinations.prior(here), LATTICE.size[here], COARSE, np.repeat(start, here.size, axis=0))
        score[here], modes[here] = fit.log_evidence + LATTICE.log_prior[here], fit.mode
        pull[here] = fit.gradient @ beyond
        grip[here] = beyond.T @ (fit.precision @ beyond)
    return score, modes, pull, grip


def _gain(pull: Floats, grip: Floats, variance: Floats) -> Floats:
    """Change of log evidence when hinges of prior `variance` join, to second order, ``[row]``."""
    inner = np.diag(1 / variance) + grip
    fit = np.einsum("ja,ja->j", pull, np.linalg.solve(inner, pull[:, :, None])[:, :, 0])
    return np.asarray(0.5 * (fit - np.linalg.slogdet(inner)[1] - np.log(variance).sum()))


def _kept(scores: Mapping[Key, Floats]) -> dict[Key, Whole]:
    """Rows of the lattice that carry `KEPT` of the weight of each set of drivers; the rest changes nothing to be seen."""
    out = {}
    for drivers in itertools.product((False, True), repeat=2):
        keys = [key for key in scores if tuple(column >= 0 for column in key) == drivers]
        if not keys:
            continue
        weight = np.exp(np.stack([scores[key] for key in keys]) - max(scores[key].max() for key in keys))
        order = np.sort(weight, axis=None)[::-1]
        least = order[min(np.searchsorted(np.cumsum(order), KEPT * order.sum()), order.size - 1)]
        out.update({key: np.flatnonzero(row >= least) for key, row in zip(keys, weight, strict=True) if (row >= least).any()})
    return out


def _likeliest(combinations: Combinations, likelihood: Likelihood, score: Floats, modes: Floats) -> Plain:
    """The likeliest rows of the lattice without drivers, stepped to their modes."""
    rows = np.sort(np.argsort(-score, kind="stable")[:MOST_PLAIN])
    fit = laplace(likelihood, combinations.prior(rows), LATTICE.size[rows], FINE, modes[rows])
    weight = np.exp(score[rows] - score.max())
    return Plain(weight / weight.sum(), fit.gradient, fit.precision)


def _slope_variance(combinations: Combinations, driver: str, grip: Floats) -> Floats:
    """Variance of a driver's slope beside the other's, averaged over knots, ``[row]``."""
    place, variance, found = DRIVERS.index(driver), combinations.slope_variance, []
    full = [key for key in combinations.keys if key[place] >= 0]
    most = max(len(hinges_of(key)) for key in full)
    for key in full:
        used = hinges_of((key[place], key[1 - place]))
        if len(used) == most:
            found.append(np.linalg.inv(np.diag(1 / variance[used]) + grip[:, used][:, :, used])[:, 0, 0])
    return np.asarray(np.mean(found, axis=0))
