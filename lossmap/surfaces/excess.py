"""How much of the loss goes with a driver: cell by cell, and over the field.

With g the log of loss and u what a driver adds to it (slope times how far the place is
beyond the knot), the excess is what the place loses above what it would at the reference:
``exp(g) (1 - exp(-u))``. g and u are taken as jointly normal, with the moments that the
mixture has over the models with that driver (`Posterior.slope_mean`); given u everything
is normal or log-normal in closed form, so only u is summed over, at the middles of slices
of equal probability: draws of a field that was driven at the reference throughout, laid out
evenly instead of at random.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from lossmap.base.estimates import Estimate, normal_points
from lossmap.base.grid import Floats
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.posterior import Posterior

__all__ = ["CellExcess", "cell_excess", "field_excess"]

# Slices of what the driver adds: a cell's chance is wanted to about 0.02.
CELL_SLICES = 24
FIELD_SLICES = 48
RESIDUAL_SLICES = 9


@dataclass(frozen=True)
class CellExcess:
    """Excess at each place, ``[place]``: mean and 90 % interval, and the chance that it is above a limit."""

    mean: Floats
    low: Floats
    high: Floats
    chance: Floats


def cell_excess(
    model: CountModel, driver: str, places_m: Floats, speed: Floats | None, moisture: Floats | None, limit: float
) -> CellExcess:
    """Excess at each place [in the unit of `Counted.worth`], over the models with that driver.

    Parameters
    ----------
    model : CountModel
    driver : "speed" or "dryness"
    places_m : array, ``[place, 2]``
    speed, moisture : array, ``[place]``
        As for `CountModel.predict`.
    limit : float
        Excess that matters, in that unit, above 0.
    """
    hinges = model.kept_hinges(driver)
    values = np.asarray(speed if driver == "speed" else moisture, float)
    far = np.flatnonzero(np.any([model.hinges_[hinge].of(values) > 0 for hinge in hinges], axis=0))
    out = CellExcess(*(np.zeros(len(places_m)) for _ in range(4)))
    if far.size:
        chosen = (None if speed is None else speed[far], None if moisture is None else moisture[far])
        beyond = {hinge: model.hinges_[hinge].of(values[far]) for hinge in hinges}
        found = _summed(_joint(model, model.posterior(hinges), beyond, places_m[far], *chosen), limit)
        for whole, part in zip((out.mean, out.low, out.high, out.chance), found, strict=True):
            whole[far] = part
    return out


def field_excess(
    model: CountModel, driver: str, places_m: Floats, speed: Floats | None, moisture: Floats | None, everywhere: Floats
) -> Estimate:
    """Excess averaged over the field [in the unit of `Counted.worth`], over the models with that driver.

    The slope can be of either sign here: a share that cannot be told from none has 0 in
    its interval.

    Parameters
    ----------
    model : CountModel
    driver : "speed" or "dryness"
    places_m, speed, moisture : array, ``[place, ...]``
        A few hundred places spread evenly over the field.
    everywhere : array
        The driver's values all over the field; how far they are beyond the knot on
        average corrects for what the few places happen to have.
    """
    levels, weights = [], []
    for hinge in model.kept_hinges(driver):
        part = model.posterior([hinge])
        beyond = model.hinges_[hinge].of(np.asarray(speed if driver == "speed" else moisture, float))
        by = model.hinges_[hinge].of(everywhere).mean() / beyond.mean() if beyond.any() else 0.0
        levels.append(by * _field_levels(model, part, hinge, beyond, places_m, speed, moisture))
        weights.append(np.full(levels[-1].size, part.weight))
    return _weighted(np.concatenate(levels), np.concatenate(weights))


@dataclass(frozen=True)
class _Joint:
    """g at places and what the driver adds to it, jointly normal: means, variances and covariance, ``[place]``."""

    mean: Floats
    variance: Floats
    added: Floats
    added_variance: Floats
    shared: Floats

    def slices(self, number: int) -> list[tuple[Floats, Floats, Floats]]:
        """What is added at the middle of each slice of equal probability, and mean and variance of g there."""
        pull = self.shared / self.added_variance
        left = self.variance - pull * self.shared
        sd = np.sqrt(self.added_variance)
        return [(self.added + step * sd, self.mean + pull * step * sd, left) for step in normal_points(number)]


def _joint(
    model: CountModel, part: Posterior, beyond: dict[int, Floats], places_m: Floats, speed: Floats | None, moisture: Floats | None
) -> _Joint:
    """Moments of g and of slope times `beyond`, summed over knots."""
    mean, variance = model.log_moments(places_m, speed, moisture, part)
    product = np.zeros(len(places_m))
    for rows, step, features in model.features(places_m, speed, moisture):
        product[rows] += sum(far[rows] * (features @ part.slope_mean[hinge, step]) for hinge, far in beyond.items())
    added = sum(far * part.slope[hinge] for hinge, far in beyond.items()) / part.weight
    second = sum(far**2 * part.slope_second[hinge] for hinge, far in beyond.items()) / part.weight
    added_variance = np.maximum(second - added**2, 1e-12)
    shared = product / part.weight - (mean - math.log(model.level_)) * added
    # Rounding must not make the two more alike than they can be.
    most = 0.999 * np.sqrt(variance * added_variance)
    return _Joint(mean, variance, added, added_variance, np.clip(shared, -most, most))


def _summed(joint: _Joint, limit: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean, 5 % and 95 % points of the excess, and its chance to be above `limit`, ``[place]`` each."""
    total, above, log_first, log_second, chance = (np.zeros(len(joint.mean)) for _ in range(5))
    for added, mean, variance in joint.slices(CELL_SLICES):
        share = -np.expm1(-added)
        total += np.exp(mean + variance / 2) * share
        positive = share > 0
        log = mean + np.log(np.where(positive, share, 1.0))
        above += positive
        log_first += positive * log
        log_second += positive * (variance + log**2)
        chance += positive * ndtr((log - np.log(limit)) / np.sqrt(variance))
    some = np.maximum(above, 1)
    middle = log_first / some
    sd = np.sqrt(np.maximum(log_second / some - middle**2, 0.0))
    low, high = (_quantile(level, above / CELL_SLICES, middle, sd) for level in (0.05, 0.95))
    return total / CELL_SLICES, low, high, chance / CELL_SLICES


def _quantile(level: float, above: Floats, log: Floats, sd: Floats) -> Floats:
    """Of a quantity that is log-normal with chance `above`, and 0 (or below, which is given as 0) otherwise."""
    within = 1 - (1 - level) / np.maximum(above, 1e-9)
    return np.where(within > 0, np.exp(log + sd * ndtri(np.clip(within, 1e-9, 1 - 1e-9))), 0.0)


def _field_levels(
    model: CountModel, part: Posterior, hinge: int, beyond: Floats, places_m: Floats, speed: Floats | None, moisture: Floats | None
) -> Floats:
    """Equally likely values of the places' mean excess, for one knot."""
    slope = part.slope[hinge] / part.weight
    slope_variance = part.slope_second[hinge] / part.weight - slope**2
    mean, covariance = model.joint_total(places_m, speed, moisture, part)
    product = sum(features @ part.slope_mean[hinge, step] for _, step, features in model.features(places_m, speed, moisture, len(places_m)))
    shared = product / part.weight - (mean - math.log(model.level_)) * slope
    left = covariance - np.outer(shared, shared) / slope_variance
    together, middles = np.expm1(left), normal_points(RESIDUAL_SLICES)
    levels = []
    for step in normal_points(FIELD_SLICES):
        at = slope + step * np.sqrt(slope_variance)
        each = np.exp(mean + shared * (at - slope) / slope_variance + left.diagonal() / 2) * -np.expm1(-at * beyond)
        total = each.sum()
        spread = np.sqrt(np.log1p(max(each @ together @ each, 0.0) / total**2)) if total else 0.0
        levels.append(each.mean() * np.exp(spread * middles - spread**2 / 2))
    return np.concatenate(levels)


def _weighted(values: Floats, weights: Floats) -> Estimate:
    """Mean and 5 % and 95 % points of weighted values."""
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weights[order]) / weights.sum()
    low, high = (float(values[order][np.searchsorted(share, level)]) for level in (0.05, 0.95))
    return Estimate(float(np.average(values, weights=weights)), low, high)
