"""How much of the loss goes with a driver: cell by cell, and over the field.

With g the log of loss, b the slope and h how far a place is beyond the knot, the excess
is what the place loses above what it would at the reference: ``exp(g) (1 - exp(-b h))``.
g and b are jointly normal in each part of the mixture (`CountModel.joint` and
`Posterior.slope_mean`), so that given b everything is normal or log-normal in closed
form; only b is summed over, at the middles of slices of equal probability. Nothing is
drawn at random.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from lossmap.base.estimates import Estimate
from lossmap.base.grid import Floats
from lossmap.surfaces.counts import CountModel, Posterior

__all__ = ["CellExcess", "cell_excess", "field_excess"]

# Slices of the slope's distribution: a cell's chance is wanted to about 0.02.
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
    """Excess at each place, over the models with that driver.

    Parameters
    ----------
    model : CountModel
    driver : "speed" or "dryness"
    places_m : array, ``[place, 2]``
    speed, moisture : array, ``[place]``
        As for `CountModel.predict`.
    limit : float
        Excess that matters [seeds/m2].
    """
    sums = _Sums.of(len(places_m))
    for index, hinge in enumerate(model.hinges_):
        if hinge.driver != driver or not any(index in key for key in model.groups_):
            continue
        part = model.posterior(index)
        beyond = hinge.of(np.asarray(speed if driver == "speed" else moisture, float))
        far = np.flatnonzero(beyond > 0)
        sums.weight += part.weight
        if far.size:
            chosen = [None if values is None else np.asarray(values, float)[far] for values in (speed, moisture)]
            _add(sums, far, beyond[far], _Joint.at(model, part, index, places_m[far], *chosen), part.weight, limit)
    return sums.result()


def field_excess(model: CountModel, driver: str, places_m: Floats, speed: Floats | None, moisture: Floats | None) -> Estimate:
    """Excess averaged over places [seeds/m2], over the models with that driver.

    `places_m` is a few hundred places spread evenly over the field. The slope can be of
    either sign here: a share that cannot be told from none has 0 in its interval.
    """
    values, weights = [], []
    middles = (np.arange(RESIDUAL_SLICES) + 0.5) / RESIDUAL_SLICES
    for index, hinge in enumerate(model.hinges_):
        if hinge.driver != driver or not any(index in key for key in model.groups_):
            continue
        part = model.posterior(index)
        beyond = hinge.of(np.asarray(speed if driver == "speed" else moisture, float))
        joint = _Joint.at(model, part, index, places_m, speed, moisture)
        _, covariance = model.joint(places_m, speed, moisture, part)
        together = np.expm1(covariance - np.outer(joint.shared, joint.shared) / joint.slope_variance)
        for slope in joint.slopes(FIELD_SLICES):
            mean, variance = joint.given(slope)
            each = np.exp(mean + variance / 2) * -np.expm1(-slope * beyond)
            total = each.sum()
            spread = np.sqrt(np.log1p(max(each @ together @ each, 0.0) / total**2)) if total else 0.0
            values.append(each.mean() * np.exp(spread * ndtri(middles) - spread**2 / 2))
            weights.append(np.full(middles.size, part.weight))
    return _weighted(np.concatenate(values), np.concatenate(weights))


@dataclass(frozen=True)
class _Joint:
    """g at places and the slope together: means, variances, and their covariance `shared`, in one part of the mixture."""

    mean: Floats
    variance: Floats
    shared: Floats
    slope_mean: float
    slope_variance: float

    @classmethod
    def at(cls, model: CountModel, part: Posterior, hinge: int, places_m: Floats, speed: Floats | None, moisture: Floats | None) -> _Joint:
        mean, variance = model.log_moments(places_m, speed, moisture, part)
        product = np.zeros(len(places_m))
        for rows, step, features in model.features(places_m, speed, moisture):
            product[rows] += features @ part.slope_mean[hinge, step]
        slope = float(part.slope[hinge] / part.weight)
        slope_variance = float(part.slope_second[hinge] / part.weight - slope**2)
        shared = product / part.weight - (mean - model.log_rate_) * slope
        # Rounding must not make the two more alike than they can be.
        most = np.sqrt(variance * slope_variance) * 0.999
        return cls(mean, variance, np.clip(shared, -most, most), slope, slope_variance)

    def slopes(self, slices: int) -> Floats:
        """Middles of slices of equal probability of the slope."""
        return self.slope_mean + np.sqrt(self.slope_variance) * ndtri((np.arange(slices) + 0.5) / slices)

    def given(self, slope: float) -> tuple[Floats, Floats]:
        """Mean and variance of g where the slope is that."""
        pull = self.shared / self.slope_variance
        return self.mean + pull * (slope - self.slope_mean), self.variance - pull * self.shared


@dataclass
class _Sums:
    """Running sums over slices: of the excess, of its log and square where it is above 0, and of chances."""

    weight: float
    mean: Floats
    log: Floats
    log_second: Floats
    above: Floats
    chance: Floats

    @classmethod
    def of(cls, places: int) -> _Sums:
        return cls(0.0, *(np.zeros(places) for _ in range(5)))

    def result(self) -> CellExcess:
        above = self.above / self.weight
        safe = np.maximum(self.above, 1e-300)
        log = self.log / safe
        sd = np.sqrt(np.maximum(self.log_second / safe - log**2, 0.0))
        low, high = (_quantile(level, above, log, sd) for level in (0.05, 0.95))
        return CellExcess(self.mean / self.weight, low, high, self.chance / self.weight)


def _add(sums: _Sums, rows: np.ndarray, beyond: Floats, joint: _Joint, weight: float, limit: float) -> None:
    """Add one knot's share of the mixture at `rows`."""
    each = weight / CELL_SLICES
    for slope in joint.slopes(CELL_SLICES):
        mean, variance = joint.given(slope)
        sums.mean[rows] += each * np.exp(mean + variance / 2) * -np.expm1(-slope * beyond)
        if slope <= 0:
            continue
        log = mean + np.log(-np.expm1(-slope * beyond))
        sums.above[rows] += each
        sums.log[rows] += each * log
        sums.log_second[rows] += each * (variance + log**2)
        sums.chance[rows] += each * ndtr((log - np.log(limit)) / np.sqrt(variance))


def _quantile(level: float, above: Floats, log: Floats, sd: Floats) -> Floats:
    """Of a quantity that is 0 with chance ``1 - above`` and log-normal otherwise."""
    within = (level - (1 - above)) / np.maximum(above, 1e-300)
    return np.where(within > 0, np.exp(log + sd * ndtri(np.clip(within, 1e-9, 1 - 1e-9))), 0.0)


def _weighted(values: Floats, weights: Floats) -> Estimate:
    """Mean and 5 % and 95 % points of weighted values."""
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weights[order]) / weights.sum()
    low, high = (float(values[order][np.searchsorted(share, level)]) for level in (0.05, 0.95))
    return Estimate(float(np.average(values, weights=weights)), low, high)
