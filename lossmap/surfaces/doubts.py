"""What a first round of counts leaves in doubt, and what a further stop would tell: for those who plan it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.spatial import cKDTree

from lossmap.base.field import FieldMap
from lossmap.base.grid import Floats
from lossmap.base.logloss import CountDoubt, DriverDoubt, Hinge
from lossmap.base.tables import DRIVE
from lossmap.surfaces.counted import Counted
from lossmap.surfaces.drivers import knots
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, RANGE, ROUGH, SLOPE_SD, Whole
from lossmap.surfaces.positions import parted

__all__ = ["StopCounts", "left_in_doubt"]

# Equally likely values of sd, range, clumping and knots over which a verdict is averaged.
DRAWS = 18


def left_in_doubt(
    field_map: FieldMap, places_m: Floats, driven: Mapping[str, Floats], more: float, wanted_sd: Mapping[str, float]
) -> tuple[CountDoubt, tuple[CountDoubt, ...]]:
    """What the counts so far leave in doubt of the map, and of the verdicts.

    Parameters
    ----------
    field_map : FieldMap
    places_m : array, ``[place, 2]``
        The ground on which stops may be: easting and northing [m].
    driven : mapping of str to array, ``[place]``
        Ground ``speed`` [m/s] and moisture [%] (``dryness``) there, those that are known; NaN where they are not.
    more : float
        Frames planned at each position over those laid so far.
    wanted_sd : mapping of str to float
        For each driver: posterior sd of its slope from which a verdict can be given.

    Returns
    -------
    CountDoubt
        Of the map, at what the counts make likeliest of sd, range and clumping.
    tuple of CountDoubt
        Of the verdicts, equally likely: they are reckoned over the priors of sd, range and
        clumping, and over the knots, as is how many stops they take.
    """
    counted = parted(field_map.losses, field_map.seed_mass_g)[1]
    stops_m = np.asarray(shapely.get_coordinates(field_map.losses.geometry.to_numpy()), float)
    drivers = tuple(_driver(field_map, name, places_m, values, wanted_sd[name]) for name, values in driven.items())

    def doubt(seen: _Seen, size: float, sd: float, range_m: float) -> CountDoubt:
        told = _told(counted, size)
        own_sd, precision = seen(told, sd)
        one_more = float(np.median(seen(told.more(more), sd)[1]))
        return CountDoubt(own_sd, range_m, INTERCEPT_SD, stops_m, precision, one_more, drivers)

    typical = field_map.typical
    among = []
    for draw, row in enumerate(np.searchsorted(np.cumsum(LATTICE.prior), (np.arange(DRAWS) + 0.5) / DRAWS)):
        process = LATTICE.process[row]
        one = doubt(StopCounts.of_slopes, LATTICE.size[row], LATTICE.sd[row], RANGE[process] * _diagonal(places_m))
        among.append(replace(one, drivers=_at_knots(drivers, field_map, driven, draw), is_smooth=bool(process >= ROUGH)))
    return doubt(StopCounts.of_total, typical.size, typical.sd, typical.range_m), tuple(among)


@dataclass(frozen=True)
class StopCounts:
    """What the counts of each stop see of the parts of the loss, at the field's mean.

    In log loss each part has its level, slopes that all parts share, and a process of its
    own, all with one sd. A plan takes a stop as one number about one process. Which number
    depends on what is asked of it, since the parts' processes average out in a slope but
    not in a total.

    Attributes
    ----------
    stop : array of int, ``[count]``
        Every stop has a count.
    lever : array, ``[count, part]``
        Share of each part in what a count expects; rows sum to 1.
    information : array, ``[count]``
        Of each count about the logarithm of its mean.
    share : array, ``[part]``
        Of the total loss; sums to 1.
    """

    stop: Whole
    lever: Floats
    information: Floats
    share: Floats

    def more(self, times: float) -> StopCounts:
        """The same on so many times the ground."""
        return replace(self, information=self.information * times)

    def of_slopes(self, sd: float) -> tuple[float, Floats]:
        """A stop's counts weighed so that they tell most of a slope: sd of what they follow, and precision ``[stop]``.

        Precisions are such that each stop tells as much of the slope as all its counts do,
        about a process of the middle stop's sd.
        """
        left, told = self._left(sd), self._by_stop(self.lever)
        every = self._by_stop(np.ones((len(self.stop), 1)))[:, 0]
        pulled = np.einsum("spq,sq->sp", left, told)
        of_slope = every - np.einsum("sp,sp->s", told, pulled)
        own_sd = float(np.median(np.sqrt((pulled**2).sum(axis=1)) / (sd * of_slope)))
        return own_sd, np.asarray(1 / np.maximum(1 / of_slope - own_sd**2, 1 / every))

    def of_total(self, sd: float) -> tuple[float, Floats]:
        """What they tell of the total loss: sd of its process, and precision ``[stop]``."""
        before = sd**2 * float(self.share @ self.share)
        after = np.einsum("p,spq,q->s", self.share, self._left(sd), self.share)
        return math.sqrt(before), np.asarray(1 / after - 1 / before)

    def _left(self, sd: float) -> Floats:
        """Covariance of the parts' processes where a stop is, after its counts, ``[stop, part, part]``."""
        parts = self.share.size
        squares = np.einsum("cp,cq->cpq", self.lever, self.lever).reshape(len(self.stop), -1)
        return np.asarray(np.linalg.inv(np.eye(parts) / sd**2 + self._by_stop(squares).reshape(-1, parts, parts)))

    def _by_stop(self, values: Floats) -> Floats:
        """Information times values, summed over a stop's counts, ``[stop, value]``."""
        out = np.zeros((int(self.stop.max()) + 1, values.shape[1]))
        np.add.at(out, self.stop, self.information[:, None] * values)
        return out


_Seen = Callable[[StopCounts, float], tuple[float, Floats]]


def _told(counted: Counted, size: float) -> StopCounts:
    """What every count is expected to tell, at the field's mean and at one clumping."""
    rates = counted.rates()
    here = counted.sees * rates
    mean, clumped = counted.area_m2 * here.sum(axis=1), size * counted.breadth
    share = counted.worth * rates / (counted.worth @ rates)
    return StopCounts(counted.stop, here / here.sum(axis=1, keepdims=True), mean * clumped / (clumped + mean), share)


def _driver(field_map: FieldMap, name: str, places_m: Floats, everywhere: Floats, wanted_sd: float) -> DriverDoubt:
    """What the map says of one driver; where its stops were all cut alike, as if nothing were known."""
    found, losses, column = field_map.drivers[name], field_map.losses, DRIVE[name]
    knot = found.reference if np.isfinite(found.reference) else float(np.nanmedian(everywhere))
    known = np.isfinite(everywhere)
    nearest = cKDTree(places_m[known]).query(shapely.get_coordinates(losses.geometry.to_numpy()))[1]
    at_stops = everywhere[known][nearest]
    if column in losses:
        measured = losses[column].to_numpy(float)
        at_stops = np.where(np.isfinite(measured), measured, at_stops)
    return DriverDoubt(Hinge(name, knot), at_stops, SLOPE_SD[name], wanted_sd, found.verdict == "not enough counts")


def _at_knots(drivers: tuple[DriverDoubt, ...], field_map: FieldMap, driven: Mapping[str, Floats], draw: int) -> tuple[DriverDoubt, ...]:
    """The drivers at one of their knots each; nine draws go through all pairs."""
    out = []
    for place, driver in enumerate(drivers):
        tried = knots(driver.name, driven[driver.name], field_map.settings.zones)
        out.append(replace(driver, hinge=Hinge(driver.name, tried[draw // 3**place % len(tried)])))
    return tuple(out)


def _diagonal(places_m: Floats) -> float:
    """Of the ground [m]; the model's ranges are shares of it."""
    return float(np.hypot(*np.ptp(places_m, axis=0))) + 1.0
