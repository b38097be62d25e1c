"""How a field's loss divides by source: draws of the whole field, by shares that are tried out.

A part that counts hardly tell apart (a tenth of the loss behind the combine, among counts that
scatter by half) may be half or twice what is likeliest, but never much more: the likelihood
falls off steeply above it and not at all below, and no normal approximation of its logarithm
is like that. So the shares at the middle of the field, few numbers, are tried at quasi-random
points spread over more than what the model of the counts thinks likely of them, each
with a combination of its lattice. At each point the rest is as close to normal as
in the model; its evidence over the chance of having been tried is the point's weight
(importance sampling; Rue, Martino & Chopin 2009 do the same to hyper-parameters; from memory).
(By the normal approximation alone a source of a tenth of the loss came out 1.8 times too high.)

Draws of the field then fall on points by weight; each draws all parts over the field given
the counts by Matheron's rule: a draw of the prior at stops and places, corrected by what the
counts, scattered, say against it. So sources add up to the total in every draw, none
is ever negative, and the interval of each knows what the others take from it.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri
from scipy.stats import multivariate_normal, qmc

from lossmap.base.estimates import NOTHING, Estimate, normal_points
from lossmap.base.grid import Floats
from lossmap.surfaces.combinations import hinges_of
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.laplace import Fit, Likelihood, laplace
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, Whole
from lossmap.surfaces.positions import Part
from lossmap.surfaces.search import FINE

__all__ = ["Division", "divided"]

DRAWS = 1000
# A power of 2, as quasi-random points want it.
POINTS = 64
# Standard deviation of the points over that of the normal approximation: tails must be tried more often than they are likely.
WIDER = 1.3
# Prior standard deviation of the logarithm of each part beside the others, about its usual share (common practice, no
# source): nine of ten fields divide their loss to within a factor of 6 of what is usual.
PRIOR_SD = 0.8
# Keeps a covariance that rounding made indefinite positive.
JITTER = 1e-8


@dataclass(frozen=True)
class Division:
    """The field's mean of each part in each draw.

    Attributes
    ----------
    parts : tuple of Part
    amounts : array, ``[draw, part]``
        As if masses were known, in the unit of `Counted.worth`; 1 where there is one part only.
    masses : array, ``[draw, part]``
        Factor on each from what a seed or an ear may weigh; one for all of a kind.
    """

    parts: tuple[Part, ...]
    amounts: Floats
    masses: Floats

    def source(self, name: str, total: float) -> tuple[Estimate, Estimate]:
        """A source's field mean, of which the parts' sum is `total`, and its share of the loss [%].

        `NOTHING` twice where no part is that source alone.
        """
        having = [number for number, part in enumerate(self.parts) if name in part.sources]
        if any(self.parts[number].sources != (name,) for number in having):
            return NOTHING, NOTHING
        whole = self.amounts.sum(axis=1)
        by = total / float(whole.mean())
        weighed = self.amounts * self.masses
        amount = _estimate(by * self.amounts[:, having].sum(axis=1), by * weighed[:, having].sum(axis=1))
        of_all = 100 * self.amounts[:, having].sum(axis=1) / whole
        return amount, _estimate(of_all, 100 * weighed[:, having].sum(axis=1) / weighed.sum(axis=1))


def divided(
    model: CountModel, parts: tuple[Part, ...], places_m: Floats, speed: Floats | None, moisture: Floats | None, rng_seed: int
) -> Division:
    """Draw the field's mean of each part.

    Parameters
    ----------
    model : CountModel
    parts : tuple of Part
    places_m, speed, moisture : array, ``[place, ...]``
        Some hundred places spread evenly over the field.
    rng_seed : int
    """
    rng = np.random.default_rng(rng_seed)
    if len(parts) == 1:
        return Division(parts, np.ones((1, 1)), np.ones((1, 1)))
    tried = _Tried(model, rng)
    falls_on = np.searchsorted(np.cumsum(tried.weight)[:-1], (rng.random() + np.arange(DRAWS)) / DRAWS)
    field = _Places(model, places_m, speed, moisture, tried)
    amounts = [field.drawn(tried, point, int(draws), rng) for point, draws in zip(*np.unique(falls_on, return_counts=True), strict=True)]
    of_kind = {is_ears: rng.permutation(normal_points(DRAWS)) for is_ears in (False, True)}
    masses = np.column_stack([np.exp(part.mass_doubt * of_kind[part.is_ears]) for part in parts])
    return Division(parts, model.level_ * np.concatenate(amounts), masses)


class _Tried:
    """Shares tried out, the fit at each, and how much each weighs.

    Attributes
    ----------
    key : (int, int)
        The likeliest model: its hinge of speed and of dryness.
    rows : array, ``[point]``
        Row of the lattice.
    shares : array, ``[point, part]``
    lever, gradient, curvature, precision : array, ``[point, ...]``
        As in `Fit`.
    weight : array, ``[point]``
        Adds to 1.
    """

    def __init__(self, model: CountModel, rng: np.random.Generator) -> None:
        self.key = max(model.groups_, key=lambda key: model.groups_[key].weight)
        likely = model.lattice_weight_
        self.rows: Whole = rng.permutation(np.searchsorted(np.cumsum(likely)[:-1], (np.arange(POINTS) + 0.5) / POINTS))
        self.shares, log_prior = _points(model, rng)
        fits = [self._fit(model, points) for points in np.array_split(np.arange(POINTS), len(model.combinations_.batches(self.rows)))]
        names = ("lever", "gradient", "curvature", "precision", "log_evidence")
        self.lever, self.gradient, self.curvature, self.precision, evidence = (
            np.concatenate([getattr(fit, name) for fit in fits]) for name in names
        )
        log_weight = evidence + LATTICE.log_prior[self.rows] - np.log(likely[self.rows]) + log_prior
        weight = np.exp(log_weight - log_weight.max())
        self.weight = weight / weight.sum()

    def _fit(self, model: CountModel, points: Whole) -> Fit:
        """The model's other unknowns where the shares are known."""
        counted, shares = model.counted_, self.shares[points]
        rates = shares * model.level_ / counted.worth
        expected = counted.area_m2[:, None] * counted.sees * rates[:, None, :]
        prior = dataclasses.replace(model.combinations_.prior(self.rows[points], self.key), own=0.0)
        return laplace(Likelihood(counted.seeds, expected, shares, counted.breadth), prior, LATTICE.size[self.rows[points]], FINE)


def _points(model: CountModel, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Shares to try, ``[point, part]``, and of each the log of its prior density over that of being tried."""
    parts = model.share_.size
    # logarithms of parts over the last one
    over_last = np.hstack([np.eye(parts - 1), -np.ones((parts - 1, 1))])
    mean, covariance = (over_last @ value for value in model.intercepts())
    middle, near = over_last @ np.log(model.share_) + mean, WIDER**2 * covariance @ over_last.T
    steps = ndtri(qmc.Sobol(parts - 1, rng=rng).random(POINTS))
    tried = middle + steps @ np.linalg.cholesky(near).T
    usual = model.counted_.usual
    expected = np.zeros(parts - 1) if usual is None else over_last @ np.log(usual)
    log_prior = multivariate_normal.logpdf(tried, expected, PRIOR_SD**2 * over_last @ over_last.T)
    of_last = np.column_stack([np.exp(tried), np.ones(POINTS)])
    return of_last / of_last.sum(axis=1, keepdims=True), log_prior - multivariate_normal.logpdf(tried, middle, near)


class _Places:
    """Places that stand for the field, beside the stops, and how they are drawn."""

    def __init__(self, model: CountModel, places_m: Floats, speed: Floats | None, moisture: Floats | None, tried: _Tried) -> None:
        active = hinges_of(tried.key)
        self.beyond = np.vstack([model.combinations_.design, model.design(len(places_m), speed, moisture)])[:, active]
        self.slope_variance = model.combinations_.slope_variance[active]
        self.stop, self.stops = model.counted_.stop, len(model.places_)
        together, used = np.vstack([model.places_, places_m]), set(LATTICE.process[tried.rows])
        self.kernels = {step: kernel.copy() for step, kernel in enumerate(model.kernels(together, together)) if step in used}
        self.roots: dict[int, Floats] = {}

    def drawn(self, tried: _Tried, point: int, draws: int, rng: np.random.Generator) -> Floats:
        """Mean over the places of each part, where the level is 1, ``[draw, part]``."""
        row, lever = tried.rows[point], tried.lever[point]
        sd, step = LATTICE.sd[row], int(LATTICE.process[row])
        process = sd * rng.standard_normal((draws, lever.shape[1], len(self.beyond))) @ self._root(step).T
        slopes = rng.standard_normal((draws, self.slope_variance.size)) * np.sqrt(self.slope_variance)
        shared = INTERCEPT_SD * rng.standard_normal((draws, 1)) + slopes @ self.beyond.T
        h = process + shared[:, None, :]
        seen = np.einsum("cp,dpc->dc", lever, h[:, :, self.stop])
        scatter = rng.standard_normal(seen.shape) / np.sqrt(tried.curvature[point])
        pull = tried.gradient[point] - (seen + scatter) @ tried.precision[point]
        h = h[:, :, self.stops :] + self._back(pull[:, None, :] * lever.T, pull, sd**2 * self.kernels[step])
        share = tried.shares[point]
        weight = share[:, None] * np.exp(h)
        return np.asarray((np.exp(share @ h)[:, None] * weight / weight.sum(axis=1, keepdims=True)).mean(axis=2))

    def _back(self, pulls: Floats, pull: Floats, kernel: Floats) -> Floats:
        """What counts that pull so move each part at each place by, ``[draw, part, place]``."""
        of_stops, of_places = self.beyond[self.stop], self.beyond[self.stops :]
        shared = INTERCEPT_SD**2 * pull.sum(axis=1, keepdims=True) + (pull @ of_stops * self.slope_variance) @ of_places.T
        return np.asarray(pulls @ kernel[self.stop, self.stops :] + shared[:, None, :])

    def _root(self, step: int) -> Floats:
        if step not in self.roots:
            kernel = self.kernels[step]
            self.roots[step] = np.linalg.cholesky(kernel + JITTER * np.eye(len(kernel)))
        return self.roots[step]


def _estimate(values: Floats, with_doubt: Floats) -> Estimate:
    """Mean of the values and 90 % interval of those with all doubt."""
    mean = float(values.mean())
    low, high = (float(end) for end in np.quantile(with_doubt, (0.05, 0.95)))
    return Estimate(mean, min(low, mean), max(high, mean))
