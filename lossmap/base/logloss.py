"""How log loss changes over a field, in the terms that stages share.

Log loss is a level, slopes that begin at a driver's knot, and a Gaussian process whose
correlation falls with distance. `lossmap.surfaces` learns it from counts; `lossmap.stops`
plans further counts by what those so far leave in doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lossmap.base.grid import Floats

__all__ = ["FALLEN", "CountDoubt", "DriverDoubt", "Hinge", "Typical"]

#: Where (1 + x) exp(-x), the correlation of a smooth process, has fallen to 0.37, as exp(-x) has at 1.
FALLEN = 2.146


@dataclass(frozen=True)
class Hinge:
    """One knot of one driver: loss may rise with ground speed [m/s] above, or with moisture [%] below it."""

    driver: str
    knot: float

    def of(self, values: Floats) -> Floats:
        """How far each value is beyond the knot, never negative."""
        beyond = values - self.knot if self.driver == "speed" else self.knot - values
        return np.asarray(np.maximum(beyond, 0.0))


@dataclass(frozen=True)
class Typical:
    """What a field's counts make likeliest of how loss changes from place to place.

    Attributes
    ----------
    sd, range_m : float
        Of each part's process of log loss: correlation has fallen to 0.37 at the range [-, m].
    size : float
        Of the negative binomial, for a count on an area of mean size; seed is the more clumped, the smaller it is.
    """

    sd: float
    range_m: float
    size: float


@dataclass(frozen=True)
class DriverDoubt:
    """What is known of one driver's slope before further stops.

    Attributes
    ----------
    hinge : Hinge
        From where on loss may rise.
    at_stops : array, ``[stop]``
        Speed or moisture where the stops so far were cut.
    prior_sd : float
        Of the slope of log loss, per m/s or per point.
    wanted_sd : float
        Posterior sd of the slope from which a verdict can be given.
    undecided : bool
        Whether its verdict is "not enough counts".
    """

    hinge: Hinge
    at_stops: Floats
    prior_sd: float
    wanted_sd: float
    undecided: bool

    @property
    def name(self) -> str:
        """ "speed" or "dryness"."""
        return self.hinge.driver


@dataclass(frozen=True)
class CountDoubt:
    """What a count model leaves in doubt, and what one more stop would tell.

    Attributes
    ----------
    sd, range_m : float
        Of the process of log loss: correlation has fallen to 0.37 at the range [-, m].
    level_sd : float
        Prior sd of the level of log loss.
    places_m : array, ``[stop, 2]``
        Stops so far [m].
    precision : array, ``[stop]``
        Fisher information of each about log loss there.
    stop_precision : float
        What one further stop is expected to bring with the frames planned: ``a m r / (r + a m)``
        on area a, at m seeds a square metre, with clumping of size r.
    drivers : tuple of DriverDoubt
    is_smooth : bool
        Whether the process is smooth, a Matern process of order 3/2, or rough, of order 1/2.
    """

    sd: float
    range_m: float
    level_sd: float
    places_m: Floats
    precision: Floats
    stop_precision: float
    drivers: tuple[DriverDoubt, ...] = ()
    is_smooth: bool = False

    def correlation(self, distance_m: Floats) -> Floats:
        """Of the process, between places so far apart."""
        far = distance_m / self.range_m
        return np.asarray((1 + FALLEN * far) * np.exp(-FALLEN * far) if self.is_smooth else np.exp(-far))
