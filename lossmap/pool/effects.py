"""Random effects: the mean of a slope over fields, how much it differs between them, and each field's in the light of all.

The posterior of the mean ``mu`` and of the standard deviation ``tau`` between fields is a sum
over a grid. It is looked for on a coarse one over all that the priors allow, then taken on
one as fine as it is narrow, so that 2,000 fields are told as well as two.

Priors: ``mu`` is normal about 0, `MEAN_SD` times as wide as the prior of one field's slope,
which is there to hold back what few stops seem to say: fields together need less of that,
and seven fields with strong slopes would be held back by an eighth. ``tau`` is half-normal;
its standard deviation is `TAU_SD` of that prior's. Moderate slopes that vary by half are spread by a third of that
prior (0.33 for speed, 0.31 for dryness) and strong ones by two thirds: one in two spreads is
below the first, one in seven beyond the second, and none at all is no less likely than some.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lossmap.base.estimates import Estimate
from lossmap.base.grid import Floats
from lossmap.pool.curves import Curves, spreading

__all__ = ["ALIKE", "MEAN_SD", "TAUS", "TAU_SD", "RandomEffects", "estimates", "interval"]

MEAN_SD, TAU_SD = 2.0, 0.45
# Values of tau, in prior standard deviations of the slope: the first after 0 is wider than a step of the curves.
TAUS = np.array([0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.65, 0.8, 1.0, 1.25])
#: Fields that do not differ: what one alone has to be taken for, and what several never are.
ALIKE = np.array([0.0])
FINE_TAUS = 10
# The fine grid of the mean: points, and how many standard deviations it reaches to either side.
FINE_MEANS, FINE_REACH = 121, 7.0
# What is less likely than this, beside the likeliest, is not looked at on the fine grid.
NEGLIGIBLE = 1e-4


@dataclass(frozen=True)
class RandomEffects:
    """Posterior of mean and spread of the fields' slopes, on a grid.

    Attributes
    ----------
    curves : Curves
    means : array, ``[mean]``
        Even steps.
    taus : array, ``[tau]``
        Rising; the first may be 0.
    shares : array, ``[tau, mean]``
        Posterior; adds to 1.
    """

    curves: Curves
    means: Floats
    taus: Floats
    shares: Floats

    @classmethod
    def of(cls, curves: Curves, taus: Floats = TAUS) -> RandomEffects:
        """Pool the curves; `taus` in prior standard deviations."""
        coarse = _posterior(curves, curves.at, taus * curves.prior_sd)
        if taus.size > 1:
            taus = _finer_taus(coarse, taus)
        return _posterior(curves, _finer_means(coarse), taus * curves.prior_sd)

    @cached_property
    def of_means(self) -> Floats:
        """Posterior of the mean slope in shares of 1, ``[mean]``."""
        return np.asarray(self.shares.sum(axis=0))

    def chance(self) -> float:
        """Posterior chance that the mean slope is above 0."""
        return float(_above_nothing(self.means, self.of_means[None])[0])

    def slope(self) -> Estimate:
        """Of the mean over fields."""
        return interval(self.means, self.of_means)

    def between_sd(self) -> Estimate:
        """Of the standard deviation between fields."""
        of_taus = self.shares.sum(axis=1)
        mean = float(self.taus @ of_taus)
        if self.taus.size == 1:
            return Estimate(mean, mean, mean)
        edges = np.concatenate([self.taus[:1], (self.taus[1:] + self.taus[:-1]) / 2, self.taus[-1:]])
        low, high = np.interp([0.05, 0.95], np.append(0.0, np.cumsum(of_taus)), edges)
        return Estimate(mean, float(low), float(high))

    def of_fields(self) -> Floats:
        """Each field's slope by its counts and all others', in shares of 1 on `curves.at`, ``[field, slope]``."""
        return np.concatenate([self._block_of_fields(block) for block in self.curves.blocks()])

    def _block_of_fields(self, block: slice) -> Floats:
        curve = self.curves.likelihood[block]
        out = np.zeros_like(curve)
        for tau, kernel, shares, likelihood in self._by_tau(block):
            if tau == 0:
                out += kernel @ shares
            else:
                out += curve * ((shares / likelihood) @ kernel.T)
        return np.asarray(out / out.sum(axis=1, keepdims=True))

    def expected(self, of_slope: Floats, block: slice) -> Floats:
        """Expectation of a function of each field's slope if the mean and spread were known, ``[field, tau, mean]``.

        Parameters
        ----------
        of_slope : array, ``[field, slope]``
            The function on `curves.at`, of the fields of `block`.
        """
        curve = self.curves.likelihood[block]
        parts = []
        for tau, kernel, _, likelihood in self._by_tau(block):
            parts.append(of_slope @ kernel if tau == 0 else (curve * of_slope) @ kernel / likelihood)
        return np.stack(parts, axis=1)

    def _by_tau(self, block: slice) -> Iterator[tuple[float, Floats, Floats, Floats]]:
        """Each tau with its kernel ``[slope, mean]``, posterior shares ``[mean]`` and the fields' likelihoods ``[field, mean]``."""
        for tau, shares in zip(self.taus, self.shares, strict=True):
            kernel = self._kernel(float(tau))
            yield float(tau), kernel, shares, self.curves.likelihood[block] @ kernel

    def _kernel(self, tau: float) -> Floats:
        return spreading(self.curves.at, self.means, tau) if tau else _shared_out(self.curves.at, self.means)


def interval(at: Floats, shares: Floats) -> Estimate:
    """Mean and 90 % interval of one distribution, ``[slope]``, on even steps."""
    return estimates(at, shares[None])[0]


def estimates(at: Floats, shares: Floats) -> list[Estimate]:
    """Mean and 90 % interval of each distribution, ``[field, slope]``, on even steps."""
    low, high = (_quantiles(at, shares, level) for level in (0.05, 0.95))
    return [Estimate(*row) for row in np.column_stack([shares @ at, low, high]).tolist()]


def _quantiles(at: Floats, shares: Floats, level: float) -> Floats:
    """Of each distribution; a share is spread evenly over its step."""
    below = np.cumsum(shares, axis=1)
    step = np.argmax(below >= level, axis=1)
    rows = np.arange(len(shares))
    into = (level - (below[rows, step] - shares[rows, step])) / np.maximum(shares[rows, step], 1e-300)
    return np.asarray(at[step] + (into - 0.5) * (at[1] - at[0]))


def _above_nothing(at: Floats, shares: Floats) -> Floats:
    """Chance of more than 0 under each distribution, ``[field]``; a share is spread evenly over its step."""
    step = at[1] - at[0]
    return np.asarray(shares @ np.clip(at / step + 0.5, 0.0, 1.0))


def _posterior(curves: Curves, means: Floats, taus: Floats) -> RandomEffects:
    logs = np.zeros((taus.size, means.size))
    if taus[0] == 0:
        logs[0] = curves.log_at(means).sum(axis=0)
    for row in range(int(taus[0] == 0), taus.size):
        kernel = spreading(curves.at, means, float(taus[row]))
        for block in curves.blocks():
            logs[row] += np.log(curves.likelihood[block] @ kernel).sum(axis=0)
    logs -= 0.5 * (means / curves.prior_sd / MEAN_SD) ** 2
    logs += np.log(_tau_prior(taus / curves.prior_sd))[:, None]
    shares = np.exp(logs - logs.max())
    return RandomEffects(curves, means, taus, shares / shares.sum())


def _tau_prior(taus: Floats) -> Floats:
    """Density of the half-normal times the width of grid that each value stands for."""
    if taus.size == 1:
        return np.ones(1)
    width = np.diff(np.concatenate([taus[:1], (taus[1:] + taus[:-1]) / 2, taus[-1:]]))
    return np.asarray(np.exp(-0.5 * (taus / TAU_SD) ** 2) * width)


def _finer_taus(coarse: RandomEffects, taus: Floats) -> Floats:
    """Even steps over the values of tau that matter and one beyond them on either side, none but 0 below the least."""
    of_taus = coarse.shares.sum(axis=1)
    seen = np.flatnonzero(of_taus >= NEGLIGIBLE * of_taus.max())
    low, high = taus[max(seen[0] - 1, 0)], taus[min(seen[-1] + 1, taus.size - 1)]
    steps = np.linspace(low, high, FINE_TAUS)
    return np.asarray(np.unique(np.where(steps == 0, 0.0, np.maximum(steps, taus[1]))))


def _finer_means(coarse: RandomEffects) -> Floats:
    """Even steps over the means that matter, as fine as their posterior is narrow."""
    middle = float(coarse.means @ coarse.of_means)
    sd = float(np.sqrt(coarse.of_means @ (coarse.means - middle) ** 2))
    reach = max(FINE_REACH * sd, 2 * coarse.curves.step)
    return np.asarray(np.linspace(middle - reach, middle + reach, FINE_MEANS))


def _shared_out(at: Floats, means: Floats) -> Floats:
    """Each mean shared out between the two steps beside it, ``[slope, mean]``: where slopes do not differ at all."""
    return np.asarray(np.maximum(1 - np.abs(at[:, None] - np.clip(means, at[0], at[-1])) / (at[1] - at[0]), 0.0))
