"""Counts at a few stops to a surface of seeds on the ground, with honest doubt: the model as a whole.

For a count ``y`` on area ``e`` at place ``s`` that sees parts ``p`` with weights ``a_p``
(`lossmap.surfaces.counted`)::

    y ~ negative binomial, mean e sum_p a_p loss_p(s), variance mean + mean^2 / size
    loss_p(s) = level exp(g(s)) w_p exp(h_p(s)) / sum of all parts' w exp(h(s))
    h_p(s) = intercept + intercept_p + slope (v(s) - X)+ + slope (Y - m(s))+ + f_p(s)
    g(s)   = sum of all parts' w h(s),  w the shares of the parts where all h are 0
    f_p    ~ Gaussian processes, each with covariance  sd^2 k(distance / range)

So the nested intensities at the three positions are modelled together, each part close to
log-Gaussian, and the total is so exactly. (Log-Gaussian parts simply added up put the total
6 to 14 % too high where parts are told apart badly; a total whose shares do not know of it
held the truth too seldom where residue lies in a windrow.) Intercepts and slopes have normal
priors, so h is one Gaussian process and everything below is linear algebra on the covariance
of what the counts see of it (`lossmap.surfaces.laplace`). The way through it:

* what is not known of the process is a row of a fixed lattice (`lossmap.surfaces.lattice`);
  with the drivers and knots that act it makes a combination (`lossmap.surfaces.combinations`);
* combinations are summed over, not chosen from, each weighted by prior times evidence; which
  of them matter is found first (`lossmap.surfaces.search`; averaging over models with and
  without drivers from memory);
* what they say is kept as sums (`lossmap.surfaces.posterior`), from which mean and covariance
  of log loss follow at any place, and as mixtures of slopes (`lossmap.surfaces.slopes`).

Everything is deterministic, and linear in the number of cells.
"""

from __future__ import annotations

import functools
import itertools
import math
import operator
from collections.abc import Collection, Iterator

import numpy as np
from sklearn.base import BaseEstimator

from lossmap.base.estimates import Z90
from lossmap.base.grid import Floats
from lossmap.base.logloss import Hinge
from lossmap.surfaces.combinations import Combinations, Key
from lossmap.surfaces.counted import Counted
from lossmap.surfaces.laplace import Likelihood, laplace
from lossmap.surfaces.lattice import LATTICE, RANGE, correlations
from lossmap.surfaces.posterior import Known, Posterior
from lossmap.surfaces.search import FINE, expected_sds, searched
from lossmap.surfaces.slopes import HingeSlopes, mean_knot, over_hinges

__all__ = ["CountModel"]

# Places a block: small enough for the processor's cache.
BLOCK = 1024


class CountModel(BaseEstimator):  # type: ignore[misc]
    """Seeds a square metre over a field from counts at stops (see the module for the model).

    Parameters
    ----------
    speed_knots : sequence of float
        Ground speeds X [m/s] above which loss may rise, averaged by their evidence.
        Empty: the quarters of the stops' own.
    moisture_knots : sequence of float
        Moistures Y [%] below which loss may rise; likewise.
    diagonal_m : float, optional
        Diagonal of the field [m], which scales the ranges; that of the stops where not given.

    Attributes
    ----------
    level_ : float
        Total where all latents are 0, in the unit of `Counted.worth`.
    share_ : array, ``[part]``
        Of each part in it.
    hinges_ : list of Hinge
        Every knot of every driver that was fitted.
    combinations_ : Combinations
        What the counts' places and drivers make of every row of the lattice.
    slopes_ : dict of str to Slope
        Each driver's slope over the models with that driver.
    knots_ : dict of str to float
        Each driver's knot, averaged over those models.
    lattice_weight_ : array, ``[row of the lattice]``
        Weight of each combination over all models; adds to 1.
    plain_ : Plain
        Fits without any driver.
    groups_ : dict of Key to Posterior
        One for each pair of hinges (of speed, of dryness; -1 without), weights adding to 1.
    whole_ : Posterior
        All groups added up.

    Examples
    --------
    >>> places = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0], [100.0, 100.0]])
    >>> model = CountModel().fit(places, Counted.total(np.full(4, 100.0), np.full(4, 1.0)))
    >>> mean, low, high = model.predict(np.array([[50.0, 50.0]]))
    >>> bool(low[0] < 100 < high[0])
    True
    """

    def __init__(
        self,
        speed_knots: tuple[float, ...] = (),
        moisture_knots: tuple[float, ...] = (),
        diagonal_m: float | None = None,
    ) -> None:
        self.speed_knots = speed_knots
        self.moisture_knots = moisture_knots
        self.diagonal_m = diagonal_m

    def fit(self, places_m: Floats, counted: Counted, speed: Floats | None = None, moisture: Floats | None = None) -> CountModel:
        """Condition on the counts.

        Parameters
        ----------
        places_m : array, ``[stop, 2]``
            Easting and northing [m].
        counted : Counted
        speed, moisture : array, ``[stop]``, optional
            Ground speed [m/s] and moisture [%] where the stop was cut; None leaves the driver out.
        """
        self.places_ = np.asarray(places_m, float)
        self.counted_ = counted
        rates = counted.rates()
        self.level_ = float(counted.worth @ rates)
        self.share_ = counted.worth * rates / self.level_
        self.hinges_ = self._hinges(speed, moisture)
        design = self.design(len(self.places_), speed, moisture)
        kernels = np.stack([kernel.copy() for kernel in self.kernels(self.places_, self.places_)])
        at_counts = kernels[:, counted.stop[:, None], counted.stop]
        self.combinations_ = Combinations(counted, self.share_, self.hinges_, design, at_counts)
        self._condition(Likelihood(counted.seeds, counted.area_m2[:, None] * counted.sees * rates, self.share_, counted.breadth))
        return self

    def predict(
        self, places_m: Floats, speed: Floats | None = None, moisture: Floats | None = None, log_doubt: float = 0.0
    ) -> tuple[Floats, Floats, Floats]:
        """Total at each place, with 90 % interval.

        Parameters
        ----------
        places_m : array, ``[place, 2]``
        speed, moisture : array, ``[place]``, optional
            As in `fit`, and given exactly where they were given there.
        log_doubt : float
            Standard deviation of the logarithm of a factor on everything (the seed's mass).

        Returns
        -------
        mean, low, high : array, ``[place]``
            In the unit of `Counted.worth`; the mean and the 5 % and 95 % points of a log-normal.
        """
        mean, variance = self.log_moments(places_m, speed, moisture)
        spread = Z90 * np.sqrt(variance + log_doubt**2)
        return np.exp(mean + variance / 2), np.exp(mean - spread), np.exp(mean + spread)

    def log_moments(
        self, places_m: Floats, speed: Floats | None = None, moisture: Floats | None = None, part: Posterior | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance of the logarithm of the total, ``[place]``, under the mixture or `part` of it."""
        part = self.whole_ if part is None else part
        mean = np.einsum("p,rpf->rf", self.share_, part.mean)
        square = np.einsum("p,rpqfg,q->rfg", self.share_, part.second, self.share_)
        first, second = np.zeros(len(places_m)), np.zeros(len(places_m))
        for rows, step, features in self.features(places_m, speed, moisture):
            first[rows] += features @ mean[step]
            second[rows] += np.einsum("ij,ij->i", features @ square[step], features)
        first /= part.weight
        variance = (second + self.share_ @ self.share_ * part.variance.sum()) / part.weight - first**2
        return first + math.log(self.level_), np.maximum(variance, 1e-12)

    def joint(
        self,
        places_m: Floats,
        speed: Floats | None = None,
        moisture: Floats | None = None,
        part: Posterior | None = None,
        of: Floats | None = None,
    ) -> tuple[Floats, Floats]:
        """Mean ``[one, place]`` and covariance ``[one, place, one, place]`` of h; for a few hundred places.

        Each is a sum over parts with the weights of a row of `of` (``[one, part]``); without it, one part each.
        """
        part = self.whole_ if part is None else part
        of = np.eye(self.share_.size) if of is None else of
        mean, square = np.einsum("ip,rpf->rif", of, part.mean), np.einsum("ip,rpqfg,jq->rijfg", of, part.second, of)
        alike, rows, places = of @ of.T, len(of), len(places_m)
        first, second = np.zeros((rows, places)), np.zeros((rows, places, rows, places))
        for _, step, features in self.features(places_m, speed, moisture, block=places):
            first += mean[step] @ features.T
            for one, other in itertools.product(range(rows), repeat=2):
                second[one, :, other] += features @ square[step, one, other] @ features.T
        for step, kernel in enumerate(self.kernels(places_m, places_m)):
            for one, other in zip(*np.nonzero(alike), strict=True):
                second[one, :, other] += alike[one, other] * part.variance[step] * kernel
        first /= part.weight
        return first, second / part.weight - np.multiply.outer(first, first)

    def joint_total(
        self, places_m: Floats, speed: Floats | None = None, moisture: Floats | None = None, part: Posterior | None = None
    ) -> tuple[Floats, Floats]:
        """Mean ``[place]`` and covariance ``[place, place]`` of the logarithm of the total; for a few hundred places."""
        mean, covariance = self.joint(places_m, speed, moisture, part, self.share_[None])
        return mean[0] + math.log(self.level_), covariance[0, :, 0]

    def intercepts(self) -> tuple[Floats, Floats]:
        """Mean ``[part]`` and covariance ``[part, part]`` of the parts' intercepts."""
        every, place = self.whole_, len(self.places_)
        mean = every.mean[:, :, place].sum(axis=0) / every.weight
        return mean, every.second[:, :, :, place, place].sum(axis=0) / every.weight - np.outer(mean, mean)

    def typical(self) -> tuple[float, float, float]:
        """What the counts make likeliest of sd, of range [m] and of the negative binomial's size on an area of mean size."""
        variance = self.lattice_weight_ @ LATTICE.sd**2
        log_range = self.lattice_weight_ * LATTICE.sd**2 @ np.log(self._longest_m() * RANGE[LATTICE.process] / RANGE[0])
        return float(np.sqrt(variance)), float(np.exp(log_range / variance)), float(1 / (self.lattice_weight_ @ (1 / LATTICE.size)))

    def kept_hinges(self, driver: str) -> list[int]:
        """The driver's hinges that any group has, as indices into `hinges_`."""
        used = {column for key in self.groups_ for column in key}
        return [column for column, hinge in enumerate(self.hinges_) if hinge.driver == driver and column in used]

    def posterior(self, hinges: Collection[int]) -> Posterior:
        """All groups with any of these hinges (indices into `hinges_`) added up; at least one of them was kept."""
        return functools.reduce(operator.add, [group for key, group in self.groups_.items() if set(hinges) & set(key)])

    def features(
        self, places_m: Floats, speed: Floats | None, moisture: Floats | None, block: int = BLOCK
    ) -> Iterator[tuple[slice, int, Floats]]:
        """Blocks of places with their features ``[place, feature]``, one range after the other."""
        stops = len(self.places_)
        for start in range(0, len(places_m), block):
            rows = slice(start, min(start + block, len(places_m)))
            design = self.design(rows.stop - start, *(None if values is None else values[rows] for values in (speed, moisture)))
            features = np.empty((rows.stop - start, stops + 1 + design.shape[1]))
            features[:, stops] = 1.0
            features[:, stops + 1 :] = design
            for step, kernel in enumerate(self.kernels(places_m[rows], self.places_)):
                features[:, :stops] = kernel
                yield rows, step, features

    def design(self, places: int, speed: Floats | None, moisture: Floats | None) -> Floats:
        """How far each place is beyond each knot, ``[place, hinge]``."""
        values = {"speed": speed, "dryness": moisture}
        columns = [hinge.of(np.asarray(values[hinge.driver], float)) for hinge in self.hinges_]
        return np.column_stack(columns) if columns else np.empty((places, 0))

    def kernels(self, places_m: Floats, other_m: Floats) -> Iterator[Floats]:
        """Correlation of each process of the lattice between places, in the order of `RANGE`; what is yielded lives until the next."""
        return correlations(places_m, other_m, self._longest_m())

    def _hinges(self, speed: Floats | None, moisture: Floats | None) -> list[Hinge]:
        """The knots given, else the quarters of what the stops saw; one of several equal ones."""
        found = []
        for driver, values, knots in (("speed", speed, self.speed_knots), ("dryness", moisture, self.moisture_knots)):
            if values is not None:
                chosen = knots or np.quantile(np.asarray(values, float), (0.25, 0.5, 0.75))
                found += [Hinge(driver, float(knot)) for knot in np.unique(chosen)]
        return found

    def _longest_m(self) -> float:
        spread = self.diagonal_m or float(np.hypot(*np.ptp(self.places_, axis=0)))
        return float(RANGE[0] * max(spread, 1.0))

    def _condition(self, likelihood: Likelihood) -> None:
        """Find the combinations that matter, step each to its own mode, and add them up."""
        found = searched(self.combinations_, likelihood)
        self.plain_ = found.plain
        self.groups_: dict[Key, Posterior] = {}
        self.lattice_weight_ = np.zeros(LATTICE.size.size)
        slopes: list[HingeSlopes] = []
        for key, kept in found.kept.items():
            for rows in self.combinations_.batches(kept):
                fit = laplace(likelihood, self.combinations_.prior(rows, key), LATTICE.size[rows], FINE, found.modes[rows])
                weight = np.exp(fit.log_evidence + LATTICE.log_prior[rows] + self.combinations_.log_prior(key) - found.highest)
                known = Known(self.combinations_, fit, rows, key)
                group = known.posterior(weight)
                self.groups_[key] = self.groups_[key] + group if key in self.groups_ else group
                self.lattice_weight_[rows] += weight
                slopes += known.slopes(weight)
        total = sum(group.weight for group in self.groups_.values())
        self.groups_ = {key: group.scaled(1 / total) for key, group in self.groups_.items()}
        self.whole_ = functools.reduce(operator.add, self.groups_.values())
        self.lattice_weight_ /= total
        expected = expected_sds(self.combinations_, likelihood)
        of = {driver: [part for part in slopes if part.hinge.driver == driver] for driver in expected}
        self.slopes_ = {driver: over_hinges(of[driver], expected[driver]) for driver in expected}
        self.knots_ = {driver: mean_knot(of[driver]) for driver in expected}
