"""What counts say of a driver's slope: a mixture of normals, one for each combination of the count model that has the driver."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from lossmap.base.estimates import Estimate
from lossmap.base.grid import Floats
from lossmap.base.logloss import Hinge
from lossmap.surfaces.lattice import Whole

__all__ = ["HingeSlopes", "Slope", "mean_knot", "over_hinges"]

# Normals that a slope's posterior is thinned to: slices by width, each in slices by mean.
SD_SLICES, MEAN_SLICES = 15, 4


@dataclass(frozen=True)
class Slope:
    """The mixture, ``[combination]`` each.

    Attributes
    ----------
    weight : array
        Adds to 1.
    mean, sd : array
        Of the slope of log loss, per m/s or per point of moisture.
    expected_sd : float
        The posterior sd that stops at these places, on these areas, were to give before any of
        their seeds was attributed to a place.
    """

    weight: Floats
    mean: Floats
    sd: Floats
    expected_sd: float

    def chance(self) -> float:
        """Posterior probability that the slope is above 0."""
        return float(self.weight @ ndtr(self.mean / self.sd))

    def moments(self) -> tuple[float, float]:
        """Mean and standard deviation of the mixture."""
        mean = float(self.weight @ self.mean)
        return mean, float(np.sqrt(self.weight @ (self.sd**2 + (self.mean - mean) ** 2)))

    def interval(self) -> Estimate:
        """Mean and 90 % interval of the mixture."""
        mean, sd = self.moments()
        levels = np.linspace(mean - 6 * sd, mean + 6 * sd, 401)
        below = ndtr((levels[:, None] - self.mean) / self.sd) @ self.weight
        low, high = (float(np.interp(level, below, levels)) for level in (0.05, 0.95))
        return Estimate(mean, low, high)

    def thinned(self) -> Slope:
        """The same curve of at most 60 normals: neighbours in width and mean are brought together, their moments kept."""
        # the ends of the curve are made by many normals of little weight each
        shown = np.cbrt(self.weight)
        of_sd = _slices(self.sd, shown, SD_SLICES)
        group = of_sd * MEAN_SLICES
        for here in (of_sd == one for one in range(SD_SLICES)):
            group[here] += _slices(self.mean[here], shown[here], MEAN_SLICES)
        group = np.unique(group, return_inverse=True)[1]
        weight = np.asarray(np.bincount(group, self.weight), float)
        mean = np.bincount(group, self.weight * self.mean) / weight
        square = np.bincount(group, self.weight * (self.sd**2 + (self.mean - mean[group]) ** 2)) / weight
        return Slope(weight, mean, np.sqrt(square), self.expected_sd)


@dataclass(frozen=True)
class HingeSlopes:
    """Slopes of one hinge under some combinations, ``[combination]`` each; weights are relative to those of all others."""

    hinge: Hinge
    weight: Floats
    mean: Floats
    sd: Floats


def over_hinges(slopes: Sequence[HingeSlopes], expected_sd: float) -> Slope:
    """The slope of one driver over all its hinges."""
    weight, mean, sd = (np.concatenate([getattr(part, name) for part in slopes]) for name in ("weight", "mean", "sd"))
    return Slope(weight / weight.sum(), mean, sd, expected_sd)


def mean_knot(slopes: Sequence[HingeSlopes]) -> float:
    """Where the effect of one driver begins [m/s or %], averaged over its hinges."""
    weight, knot = np.array([(part.weight.sum(), part.hinge.knot) for part in slopes]).T
    return float(weight @ knot / weight.sum())


def _slices(values: Floats, weight: Floats, number: int) -> Whole:
    """Which of `number` slices of about equal weight each value is in, from the lowest."""
    order = np.argsort(values, kind="stable")
    before = np.cumsum(weight[order]) - weight[order] / 2
    out = np.empty(values.size, dtype=np.intp)
    out[order] = np.minimum(before / weight.sum() * number, number - 1).astype(np.intp)
    return out
