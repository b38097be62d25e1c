"""What stops leave in doubt of slopes and of log loss, and what one more would: exact, without a count.

With the count model's figures held, log loss is a Gaussian process with slopes,

    g(s) = level + sum_k slope_k hinge_k(s) + f(s),   cov f = sd^2 k(distance / range),

and a stop sees g with variance 1 / precision (`CountDoubt` says how much its counts amount
to). So variances do not wait for what is counted. Each stop is one rank-one update of the
covariances that matter (slopes and support with candidates), never of all by all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import scipy.linalg
from scipy.spatial.distance import cdist

from lossmap.base.grid import Floats
from lossmap.base.logloss import CountDoubt, DriverDoubt
from lossmap.stops.ground import Ground, Whole, evenly, usual

__all__ = ["MapPosterior", "Posterior"]

#: Places that stand for the whole field in the map's doubt.
SUPPORT = 300


class Posterior:
    """Posterior variances of slopes and of log loss at candidates, held up to date as stops are added.

    With ``u = cov(everything, g at the stop) / root(var g there + 1 / precision)`` a stop
    takes ``u u'`` off the covariance of everything. What each took is kept as a row of
    `taken`: first of the slopes, then of the candidates.
    """

    def __init__(self, candidates: Ground, doubt: CountDoubt) -> None:
        self.doubt, self.places_m = doubt, np.asarray(candidates.places_m, float)
        self.noise = 1 / doubt.stop_precision
        self.slopes = len(doubt.drivers)
        self.hinges = _design(doubt.drivers, {name: usual(values) for name, values in candidates.driven.items()}, len(candidates))
        self.prior = np.array([driver.prior_sd**2 for driver in doubt.drivers])
        self._store = self._by_counted()
        self._used = len(self._store)
        of_slopes, of_places = self.taken[:, : self.slopes], self.taken[:, self.slopes :]
        self.slope_variance = self.prior - (of_slopes**2).sum(axis=0)
        self.slope_with = (self.prior * self.hinges).T - of_slopes.T @ of_places
        self.variance = doubt.sd**2 + doubt.level_sd**2 + self.hinges**2 @ self.prior - (of_places**2).sum(axis=0)

    @property
    def taken(self) -> Floats:
        """What each stop took, ``[stop, slope and candidate]``."""
        return self._store[: self._used]

    def slope_gain(self, column: int) -> Floats:
        """What a stop at each candidate takes off one slope's variance, ``[candidate]``."""
        return np.asarray(self.slope_with[column] ** 2 / (self.variance + self.noise))

    def count_at(self, row: int) -> Floats:
        """Take off what a stop at candidate `row` will; what it takes of the candidates, ``[candidate]``."""
        of_places = self.covariance(np.array([row]))[0] - self.taken[:, self.slopes + row] @ self.taken[:, self.slopes :]
        root = math.sqrt(self.variance[row] + self.noise)
        slopes, places = self.slope_with[:, row] / root, np.asarray(of_places / root)
        self._keep(np.concatenate([slopes, places]))
        self.slope_variance = self.slope_variance - slopes**2
        self.slope_with = self.slope_with - np.outer(slopes, places)
        self.variance = self.variance - places**2
        return places

    def covariance(self, rows: Whole) -> Floats:
        """Prior covariance of g at candidates `rows` with g at all candidates, ``[row, candidate]``."""
        return self._covariance(self.places_m[rows], self.hinges[rows], self.places_m, self.hinges)

    def _by_counted(self) -> Floats:
        """What the stops so far took off, one row each."""
        places_m = np.asarray(self.doubt.places_m, float).reshape(-1, 2)
        design = _design(self.doubt.drivers, {driver.name: driver.at_stops for driver in self.doubt.drivers}, len(places_m))
        among = self._covariance(places_m, design, places_m, design) + np.diag(1 / np.asarray(self.doubt.precision, float))
        everything = np.hstack([design * self.prior, self._covariance(places_m, design, self.places_m, self.hinges)])
        if not len(places_m):
            return everything
        return np.asarray(scipy.linalg.solve_triangular(np.linalg.cholesky(among), everything, lower=True))

    def _covariance(self, one_m: Floats, one: Floats, other_m: Floats, other: Floats) -> Floats:
        """Of g at some places with g at others, each given by where they are and by their hinges."""
        process = self.doubt.sd**2 * self.doubt.correlation(cdist(one_m, other_m))
        return np.asarray(process + self.doubt.level_sd**2 + (one * self.prior) @ other.T)

    def _keep(self, row: Floats) -> None:
        """One more row of `taken`; room for them is doubled, since adding one by one copies all each time."""
        if self._used == len(self._store):
            self._store = np.vstack([self._store, np.empty((max(self._used, 16), len(row)))])
        self._store[self._used] = row
        self._used += 1


class MapPosterior(Posterior):
    """The same, with the covariances of candidates with places that stand for the whole field."""

    def __init__(self, candidates: Ground, doubt: CountDoubt) -> None:
        super().__init__(candidates, doubt)
        self.support = evenly(len(candidates), SUPPORT)
        self.with_support = self.covariance(self.support) - self.taken[:, self.slopes + self.support].T @ self.taken[:, self.slopes :]
        self.surface_at_first = self.surface_sd() ** 2

    def surface_sd(self) -> float:
        """Root of the mean variance of log loss over the support."""
        return math.sqrt(max(float(self.variance[self.support].mean()), 0.0))

    def surface_gain(self) -> Floats:
        """What a stop at each candidate takes off the mean variance of log loss, as a share of what it was at first, ``[candidate]``."""
        return np.asarray((self.with_support**2).mean(axis=0) / (self.variance + self.noise) / self.surface_at_first)

    def count_at(self, row: int) -> Floats:
        """Take off what a stop at candidate `row` will; what it takes of the candidates, ``[candidate]``."""
        places = super().count_at(row)
        self.with_support -= np.outer(places[self.support], places)
        return places


def _design(drivers: tuple[DriverDoubt, ...], values: Mapping[str, Floats], places: int) -> Floats:
    """How far each place is beyond each driver's knot, 0 where that is unknown, ``[place, driver]``."""
    design = np.zeros((places, len(drivers)))
    for column, driver in enumerate(drivers):
        if driver.name in values:
            design[:, column] = np.nan_to_num(driver.hinge.of(np.asarray(values[driver.name], float)))
    return design
