"""Sums over combinations from which mean and doubt of log loss anywhere follow.

With the features of a place s, ``phi(s) = (k(|s - s_i| / range) at each stop i, 1, hinges(s))``,
a combination's mean of latent k is ``phi a_k`` and its covariance of latents k and l is the
prior's less ``phi B_k M B_l' phi'``, M the precision of what the counts see (`Fit`) and B
what takes counts to features. Features hang on the range alone, so weighted sums of
``a_k a_l' - B_k M B_l'``, one for each process of the lattice, serve every place under the
whole mixture, and no place needs a loop over combinations.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from lossmap.base.grid import Floats
from lossmap.surfaces.combinations import Combinations, Key, hinges_of
from lossmap.surfaces.laplace import Fit
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, RANGE, Whole
from lossmap.surfaces.slopes import HingeSlopes

__all__ = ["Known", "Posterior"]


@dataclass(frozen=True)
class Posterior:
    """The sums; two groups of combinations add up to one.

    Attributes
    ----------
    weight : float
    mean : array, ``[process, part, feature]``
        Of the coefficients ``a``.
    second : array, ``[process, part, part, feature, feature]``
        Of ``a a' - B M B'`` and the prior variances of intercept and slopes.
    variance : array, ``[process]``
        Of sd^2.
    slope, slope_second : array, ``[hinge]``
        Of each slope and of its square.
    slope_mean : array, ``[hinge, process, feature]``
        Of the coefficients of ``E[g(s) slope]``, g the total's latent.
    """

    weight: float
    mean: Floats
    second: Floats
    variance: Floats
    slope: Floats
    slope_second: Floats
    slope_mean: Floats

    @classmethod
    def nothing(cls, weight: float, parts: int, features: int, hinges: int) -> Posterior:
        """Sums of 0 for combinations of that weight."""
        steps = RANGE.size
        return cls(
            weight,
            np.zeros((steps, parts, features)),
            np.zeros((steps, parts, parts, features, features)),
            np.zeros(steps),
            np.zeros(hinges),
            np.zeros(hinges),
            np.zeros((hinges, steps, features)),
        )

    def __add__(self, other: Posterior) -> Posterior:
        return Posterior(*(getattr(self, name) + getattr(other, name) for name in self.__dataclass_fields__))

    def scaled(self, by: float) -> Posterior:
        """The same with every sum times `by`."""
        return Posterior(*(getattr(self, name) * by for name in self.__dataclass_fields__))


class Known:
    """What the fits of some rows of the lattice under one key know, gathered from counts to features.

    The features are the stops, the intercept and the hinges that act.

    Attributes
    ----------
    sd2 : array, ``[model]``
        Variance of a part's process.
    mean : array, ``[model, part, feature]``
        Coefficients of each part's mean.
    slope, slope_variance : array, ``[model, active]``
    """

    def __init__(self, combinations: Combinations, fit: Fit, rows: Whole, key: Key) -> None:
        self.combinations, self.fit, self.rows, self.active = combinations, fit, rows, hinges_of(key)
        self.share, self.own, self.variance = combinations.share, combinations.own, combinations.slope_variance[self.active]
        self.sd2 = LATTICE.sd[rows] ** 2
        self.stop, self.stops = combinations.counted.stop, len(combinations.design)
        self.is_of_stop = (self.stop[:, None] == np.arange(self.stops)).astype(float)
        self.is_one_each = np.array_equal(self.stop, np.arange(self.stops))
        self.beyond = combinations.beyond[:, self.active]
        # prior covariance of intercept and slopes with what the counts see, [model, count, 1 + active] a part
        self.reach = [self._reach(part) for part in range(self.share.size)]
        self.gripped = [fit.precision @ reach for reach in self.reach]
        self.mean = np.stack([self._mean(part) for part in range(self.share.size)], axis=1)
        self.slope_grip = fit.precision @ self.beyond
        self.slope = self.variance * (fit.gradient @ self.beyond)
        self.slope_variance = self.variance - self.variance**2 * np.einsum("ch,jch->jh", self.beyond, self.slope_grip)

    def posterior(self, weight: Floats) -> Posterior:
        """What these models add to the mixture, each with its `weight`, ``[model]``."""
        stops, parts, hinges = self.stops, self.share.size, len(self.combinations.hinges)
        used = np.array([*range(stops + 1), *(stops + 1 + column for column in self.active)])
        out = Posterior.nothing(float(weight.sum()), parts, stops + 1 + hinges, hinges)
        process = LATTICE.process[self.rows]
        for step in np.unique(process):
            here = np.flatnonzero(process == step)
            out.mean[step][:, used] = np.tensordot(weight[here], self.mean[here], 1)
            out.variance[step] = weight[here] @ self.sd2[here]
            for one, other in itertools.combinations_with_replacement(range(parts), 2):
                second = self._second(one, other, here, weight[here])
                out.second[step, one, other][np.ix_(used, used)] = second
                out.second[step, other, one][np.ix_(used, used)] = second.T
            for place, column in enumerate(self.active):
                out.slope_mean[column, step][used] = self._with_slope(place, here, weight[here])
        out.slope[self.active] = weight @ self.slope
        out.slope_second[self.active] = weight @ (self.slope_variance + self.slope**2)
        return out

    def slopes(self, weight: Floats) -> list[HingeSlopes]:
        """The slope of each hinge that acts under these models."""
        return [
            HingeSlopes(self.combinations.hinges[column], weight, self.slope[:, place], np.sqrt(self.slope_variance[:, place]))
            for place, column in enumerate(self.active)
        ]

    def _reach(self, part: int) -> Floats:
        of_intercept = INTERCEPT_SD**2 + self.own * self.fit.lever[:, :, [part]]
        slopes = np.broadcast_to(self.beyond * self.variance, (*of_intercept.shape[:2], self.variance.size))
        return np.concatenate([of_intercept, slopes], axis=2)

    def _mean(self, part: int) -> Floats:
        of_stops = self.sd2[:, None] * self._by_stop(self.fit.gradient * self.fit.lever[:, :, part])
        return np.hstack([of_stops, np.einsum("jc,jcd->jd", self.fit.gradient, self.reach[part])])

    def _by_stop(self, values: Floats) -> Floats:
        """Counts of one stop added up along the last axis."""
        return values if self.is_one_each else np.asarray(values @ self.is_of_stop)

    def _second(self, one: int, other: int, here: Whole, weight: Floats) -> Floats:
        """Weighted sum of ``a a' - B M B'`` of two parts, with the prior of intercept and slopes, ``[feature, feature]``."""
        out = (self.mean[here, one].T * weight) @ self.mean[here, other]
        scaled = [(weight**0.5 * self.sd2[here])[:, None] * self.fit.lever[here, :, part] for part in (one, other)]
        seen = np.zeros((self.stop.size, self.stop.size))
        for left, right, row in zip(*scaled, here, strict=True):
            seen += left[:, None] * self.fit.precision[row] * right
        out[: self.stops, : self.stops] -= self._by_stop(self._by_stop(seen).T).T
        out[: self.stops, self.stops :] -= self._cross(one, other, here, weight)
        out[self.stops :, : self.stops] -= self._cross(other, one, here, weight).T
        known = np.tensordot(weight, self.reach[one][here].swapaxes(1, 2) @ self.gripped[other][here], 1)
        own = np.append(INTERCEPT_SD**2 + self.own * (one == other), self.variance)
        out[self.stops :, self.stops :] += weight.sum() * np.diag(own) - known
        return np.asarray(out)

    def _cross(self, of_stops: int, of_design: int, here: Whole, weight: Floats) -> Floats:
        """Part of ``B M B'`` between the process of one part and intercept and slopes of another, ``[stop, 1 + active]``."""
        seen = (weight * self.sd2[here])[:, None] * self.fit.lever[here, :, of_stops]
        return self._by_stop(np.einsum("jc,jcd->dc", seen, self.gripped[of_design][here])).T

    def _with_slope(self, place: int, here: Whole, weight: Floats) -> Floats:
        """Weighted sum of the coefficients of ``E[g slope]``, g the total's, ``[feature]``."""
        pull = self.variance[place] * self.slope_grip[here, :, place]
        of_stops = -self.sd2[here, None] * self._by_stop(pull * (self.fit.lever[here] @ self.share))
        of_design = -np.einsum("jc,jcd->jd", pull, sum(share * reach[here] for share, reach in zip(self.share, self.reach, strict=True)))
        of_design[:, 1 + place] += self.variance[place]
        both = np.hstack([of_stops, of_design]) + (self.share @ self.mean[here]) * self.slope[here, place, None]
        return np.asarray(weight @ both)
