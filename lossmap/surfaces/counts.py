"""Counts at a few stops to a surface of seeds on the ground, with honest doubt.

The model, for counts ``y`` on areas ``e`` at places ``s``::

    y ~ negative binomial, mean e exp(g(s)), variance mean + mean^2 / size
    g(s) = intercept + slope (v(s) - X)+ + slope (Y - m(s))+ + f(s)
    f    ~ Gaussian process, covariance  sd^2 exp(-distance / range)

Intercept and slopes have normal priors, so g is one Gaussian process and everything below
is linear algebra on its covariance K at the stops:

* the posterior of g for given (sd, range, size) is taken as normal around its mode
  (Laplace; Rasmussen & Williams 2006, algorithms 3.1 and 3.2). The likelihood is
  log-concave in g, so Newton's steps arrive; all combinations are stepped as one batch;
* (sd, range, size) are not optimised but summed over a fixed lattice, each combination
  weighted by prior times evidence (Rue, Martino & Chopin 2009), and so are the models
  with and without each driver and the knots X and Y (both references from memory);
* which combinations matter is found from the models without drivers: hinges h add
  ``h S h'`` to K, and with ``P = h' M h``, ``M = (K + 1/W)^-1``, ``r = h' gradient``, the
  log evidence changes by ``r' (1/S + P)^-1 r / 2 - log|1 + S P| / 2`` to second order.
  Only combinations that carry weight by this are then stepped to their own mode;
* mean and second moment of g(s) under the whole mixture need no loop over it: with the
  features ``p(s) = (exp(-|s - s_i| / range), 1, hinges(s))`` each combination's mean is
  ``p(s) a`` and its variance ``sd^2 + p(s) (D - C M C') p(s)'``, so weighted sums of ``a``
  and of the bracket, one for each range, serve every cell. The ranges halve, so that one
  exponential and squaring give all five kernels.

Everything is deterministic, and linear in the number of cells.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools
import math
import operator
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial.distance import cdist
from scipy.special import ndtr
from sklearn.base import BaseEstimator

from lossmap.base.estimates import Z90, Estimate
from lossmap.base.grid import Floats
from lossmap.surfaces.laplace import Counts, Fit, laplace

__all__ = ["DRIVERS", "SLOPE_SD", "CountModel", "Hinge", "Posterior", "Slope"]

Whole = npt.NDArray[np.intp]

DRIVERS = ("speed", "dryness")

# The lattice. Ranges as shares of the field's diagonal; they halve (see the module's last point).
SD = np.array([0.1, 0.2, 0.35, 0.55, 0.85])
RANGE = 0.5 ** np.arange(1, 6)
SIZE = np.array([1.0, 2.5, 6.0, 15.0, 50.0])

# Priors: exponential on sd and on the clumping 1/sqrt(size). On the logarithm of the range it
# falls with the range's root: loss changes over tens of metres at least as readily as over
# hundreds, and a range that is taken too long makes a map too sure of itself.
SD_MEAN, CLUMPING_MEAN = 0.8, 0.3
INTERCEPT_SD = 1.0
#: Prior sd of the slopes of log loss, per m/s and per point of moisture: between a moderate
#: effect (x1.49 for +0.5 m/s, x1.65 for -2 points) and one of twice that.
SLOPE_SD = {"speed": 1.2, "dryness": 0.4}

# Share of the weight of each model (with or without a driver) that is stepped to its own mode.
KEPT = 0.995
# Places a block: small enough for the processor's cache.
BLOCK = 1024
# Bytes of one batch of kernels.
BATCH = 32e6


@dataclass(frozen=True)
class Hinge:
    """One knot of one driver: loss may rise with ground speed above, or with moisture below it."""

    driver: str
    knot: float

    def of(self, values: Floats) -> Floats:
        """How far each value is beyond the knot, never negative."""
        beyond = values - self.knot if self.driver == "speed" else self.knot - values
        return np.asarray(np.maximum(beyond, 0.0))


@dataclass(frozen=True)
class Slope:
    """What the counts say of one slope: a mixture of normals, ``[combination]`` each.

    `expected_sd` is the posterior sd that stops at these places, on these areas, were to
    give before any of their seeds was attributed to a place.
    """

    weight: Floats
    mean: Floats
    sd: Floats
    expected_sd: float

    def chance(self) -> float:
        """Posterior probability that the slope is above 0."""
        return float(self.weight @ ndtr(self.mean / self.sd))

    def interval(self) -> Estimate:
        """Mean and 90 % interval of the mixture."""
        mean, sd = self.moments()
        levels = np.linspace(mean - 6 * sd, mean + 6 * sd, 401)
        below = ndtr((levels[:, None] - self.mean) / self.sd) @ self.weight
        low, high = (float(np.interp(level, below, levels)) for level in (0.05, 0.95))
        return Estimate(mean, low, high)

    def moments(self) -> tuple[float, float]:
        """Mean and standard deviation of the mixture."""
        mean = float(self.weight @ self.mean)
        return mean, float(np.sqrt(self.weight @ (self.sd**2 + (self.mean - mean) ** 2)))


@dataclass(frozen=True)
class Posterior:
    """Sums over combinations from which mean and doubt of g anywhere follow; sums, so two groups add up.

    Attributes
    ----------
    weight : float
    mean : array, ``[range, feature]``
        Of the coefficients ``a``.
    second : array, ``[range, feature, feature]``
        Of ``a a' + D - C M C'``.
    variance : array, ``[range]``
        Of sd^2.
    slope, slope_second : array, ``[hinge]``
        Of each slope and of its square.
    slope_mean : array, ``[hinge, range, feature]``
        Of the coefficients of ``E[g(s) slope]``.
    """

    weight: float
    mean: Floats
    second: Floats
    variance: Floats
    slope: Floats
    slope_second: Floats
    slope_mean: Floats

    def __add__(self, other: Posterior) -> Posterior:
        return Posterior(*(getattr(self, name) + getattr(other, name) for name in self.__dataclass_fields__))

    def scaled(self, by: float) -> Posterior:
        """The same with every sum times `by`."""
        return Posterior(*(getattr(self, name) * by for name in self.__dataclass_fields__))


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
    hinges_ : list of Hinge
        Every knot of every driver that was fitted.
    slopes_ : dict of str to Slope
        Each driver's slope over the models with that driver.
    knots_ : dict of str to float
        Each driver's knot, averaged over those models.
    groups_ : dict of (int, int) to Posterior
        One for each pair of hinges (of speed, of dryness; -1 without), weights adding to 1.

    Examples
    --------
    >>> places = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0], [100.0, 100.0]])
    >>> model = CountModel().fit(places, np.full(4, 100.0), np.full(4, 1.0))
    >>> mean, low, high = model.predict(np.array([[50.0, 50.0]]))
    >>> bool(low[0] < 100 < high[0])
    True
    """

    def __init__(
        self, speed_knots: tuple[float, ...] = (), moisture_knots: tuple[float, ...] = (), diagonal_m: float | None = None
    ) -> None:
        self.speed_knots = speed_knots
        self.moisture_knots = moisture_knots
        self.diagonal_m = diagonal_m

    def fit(
        self, places_m: Floats, seeds: Floats, exposure: Floats, speed: Floats | None = None, moisture: Floats | None = None
    ) -> CountModel:
        """Condition on the counts.

        Parameters
        ----------
        places_m : array, ``[stop, 2]``
            Easting and northing [m].
        seeds, exposure : array, ``[stop]``
            Seeds counted (need not be whole) and the area they were counted on [m2], above 0.
        speed, moisture : array, ``[stop]``, optional
            Ground speed [m/s] and moisture [%] where the stop was cut; None leaves the driver out.
        """
        self.places_ = np.asarray(places_m, float)
        seeds, exposure = np.asarray(seeds, float), np.asarray(exposure, float)
        # Half a seed keeps the rate finite where none was found.
        self.log_rate_ = float(np.log((seeds.sum() + 0.5) / exposure.sum()))
        self.hinges_ = self._hinges(speed, moisture)
        self.design_ = self._design(seeds.size, speed, moisture)
        self._variance = np.array([INTERCEPT_SD**2, *(SLOPE_SD[hinge.driver] ** 2 for hinge in self.hinges_)])
        self._kernels = np.stack([kernel.copy() for kernel in _kernels(self.places_, self.places_, self._longest_m())])
        self._condition(Counts(seeds, exposure * np.exp(self.log_rate_), exposure / exposure.mean()))
        return self

    def predict(
        self, places_m: Floats, speed: Floats | None = None, moisture: Floats | None = None, log_doubt: float = 0.0
    ) -> tuple[Floats, Floats, Floats]:
        """Seeds a square metre: mean and 90 % interval, ``[place]`` each.

        `log_doubt` is the standard deviation, on the log scale, of whatever else the
        result is multiplied by (the mass of a seed); it widens the interval only.
        """
        mean, variance = self.log_moments(places_m, speed, moisture)
        spread = Z90 * np.sqrt(variance + log_doubt**2)
        return np.exp(mean + variance / 2), np.exp(mean - spread), np.exp(mean + spread)

    def log_moments(
        self, places_m: Floats, speed: Floats | None = None, moisture: Floats | None = None, part: Posterior | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance of g, the log of seeds a square metre, ``[place]``, under the mixture or `part` of it."""
        part = self.posterior() if part is None else part
        first, second = np.zeros(len(places_m)), np.zeros(len(places_m))
        for rows, step, features in self.features(places_m, speed, moisture):
            first[rows] += features @ part.mean[step]
            second[rows] += np.einsum("ij,ij->i", features @ part.second[step], features)
        first /= part.weight
        variance = (second + part.variance.sum()) / part.weight - first**2
        return first + self.log_rate_, np.maximum(variance, 1e-12)

    def joint(
        self, places_m: Floats, speed: Floats | None = None, moisture: Floats | None = None, part: Posterior | None = None
    ) -> tuple[Floats, Floats]:
        """Mean ``[place]`` and covariance ``[place, place]`` of g; for a few hundred places."""
        part = self.posterior() if part is None else part
        first, second = np.zeros(len(places_m)), np.zeros((len(places_m), len(places_m)))
        for _, step, features in self.features(places_m, speed, moisture, block=len(places_m)):
            first += features @ part.mean[step]
            second += features @ part.second[step] @ features.T
        for step, kernel in enumerate(_kernels(places_m, places_m, self._longest_m())):
            second += part.variance[step] * kernel
        first /= part.weight
        return first + self.log_rate_, second / part.weight - np.outer(first, first)

    def posterior(self, hinges: Collection[int] | None = None) -> Posterior:
        """All groups added up, or those with any of these hinges (indices into `hinges_`)."""
        chosen = [group for key, group in self.groups_.items() if hinges is None or set(hinges) & set(key)]
        return functools.reduce(operator.add, chosen)

    def features(
        self, places_m: Floats, speed: Floats | None, moisture: Floats | None, block: int = BLOCK
    ) -> Iterator[tuple[slice, int, Floats]]:
        """Blocks of places with their features ``[place, feature]``, one range after the other."""
        for start in range(0, len(places_m), block):
            rows = slice(start, min(start + block, len(places_m)))
            design = self._design(rows.stop - start, *(None if values is None else values[rows] for values in (speed, moisture)))
            features = np.empty((rows.stop - start, len(self.places_) + design.shape[1]))
            features[:, len(self.places_) :] = design
            for step, kernel in enumerate(_kernels(places_m[rows], self.places_, self._longest_m())):
                features[:, : len(self.places_)] = kernel
                yield rows, step, features

    def _hinges(self, speed: Floats | None, moisture: Floats | None) -> list[Hinge]:
        """The knots given, else the quarters of what the stops saw; one of several equal ones."""
        found = []
        for driver, values, knots in (("speed", speed, self.speed_knots), ("dryness", moisture, self.moisture_knots)):
            if values is not None:
                chosen = knots or np.quantile(np.asarray(values, float), (0.25, 0.5, 0.75))
                found += [Hinge(driver, float(knot)) for knot in np.unique(chosen)]
        return found

    def _design(self, places: int, speed: Floats | None, moisture: Floats | None) -> Floats:
        """A column of ones and one for each hinge, ``[place, 1 + hinge]``."""
        values = {"speed": speed, "dryness": moisture}
        columns = [hinge.of(np.asarray(values[hinge.driver], float)) for hinge in self.hinges_]
        return np.column_stack([np.ones(places), *columns])

    def _longest_m(self) -> float:
        spread = self.diagonal_m or float(np.hypot(*np.ptp(self.places_, axis=0)))
        return float(RANGE[0] * max(spread, 1.0))

    def _condition(self, counts: Counts) -> None:
        """Find the combinations that matter, step each to its own mode, and add them up."""
        scores, modes = self._scores(counts)
        highest = max(float(score.max()) for score in scores.values())
        self.groups_: dict[tuple[int, int], Posterior] = {}
        slopes: list[_Slopes] = []
        for key, kept in _kept(scores).items():
            for rows in self._batches(kept):
                fit = laplace(counts, self._prior(rows, key), LATTICE.size[rows], modes[rows])
                weight = np.exp(fit.log_evidence + LATTICE.log_prior[rows] + self._log_prior(key) - highest)
                group, slope = self._sums(fit, rows, key, weight)
                self.groups_[key] = self.groups_[key] + group if key in self.groups_ else group
                slopes += slope
        total = sum(group.weight for group in self.groups_.values())
        self.groups_ = {key: group.scaled(1 / total) for key, group in self.groups_.items()}
        expected = self._expected_sd(counts)
        self.slopes_ = {driver: _slope(driver, slopes, self.hinges_, expected[driver]) for driver in expected}
        self.knots_ = {driver: _mean_knot(driver, slopes, self.hinges_) for driver in expected}

    def _keys(self) -> list[tuple[int, int]]:
        """Every model: a hinge of speed or none, a hinge of dryness or none, as indices into `hinges_` or -1."""
        of = [[column for column, hinge in enumerate(self.hinges_) if hinge.driver == driver] for driver in DRIVERS]
        return list(itertools.product([-1, *of[0]], [-1, *of[1]]))

    def _log_prior(self, key: tuple[int, int]) -> float:
        """A driver is in or out with equal chance, and its knots share the chance of being in; up to a constant."""
        among = [sum(other.driver == self.hinges_[column].driver for other in self.hinges_) for column in key if column >= 0]
        return -math.log(math.prod(among))

    def _batches(self, rows: Whole) -> list[Whole]:
        """`rows` of the lattice in pieces whose kernels fit in memory together."""
        pieces = int(np.ceil(rows.size * len(self.places_) ** 2 * 8 / BATCH))
        return np.array_split(rows, max(1, pieces))

    def _prior(self, rows: Whole, key: tuple[int, int] = (-1, -1)) -> Floats:
        """Covariance of g at the stops, ``[row, stop, stop]``."""
        columns = [0, *(column + 1 for column in key if column >= 0)]
        design = self.design_[:, columns]
        of_process = SD[LATTICE.sd[rows], None, None] ** 2 * self._kernels[LATTICE.range[rows]]
        return np.asarray(of_process + (design * self._variance[columns]) @ design.T)

    def _scores(self, counts: Counts) -> tuple[dict[tuple[int, int], Floats], Floats]:
        """Log of prior times evidence of each model at each row of the lattice, from the model without drivers; and its modes."""
        hinges = self.design_[:, 1:]
        rows_total = LATTICE.size.size
        plain, pull = np.empty(rows_total), np.empty((rows_total, hinges.shape[1]))
        grip, modes = np.empty((rows_total, hinges.shape[1], hinges.shape[1])), np.empty((rows_total, len(hinges)))
        for rows in self._batches(np.arange(rows_total)):
            fit = laplace(counts, self._prior(rows), LATTICE.size[rows])
            plain[rows], modes[rows] = fit.log_evidence + LATTICE.log_prior[rows], fit.mode
            pull[rows], grip[rows] = fit.gradient @ hinges, hinges.T @ (fit.precision @ hinges)
        scores: dict[tuple[int, int], Floats] = {}
        for key in self._keys():
            used = [column for column in key if column >= 0]
            gain = _gain(pull[:, used], grip[:, used][:, :, used], self._variance[1:][used]) if used else 0.0
            scores[key] = plain + gain + self._log_prior(key)
        return scores, modes

    def _sums(self, fit: Fit, rows: Whole, key: tuple[int, int], weight: Floats) -> tuple[Posterior, list[_Slopes]]:
        """What `rows` of one model add to the mixture."""
        stops, width = self.design_.shape
        variance = np.zeros(width)
        active = [0, *(column + 1 for column in key if column >= 0)]
        variance[active] = self._variance[active]
        sd2 = SD[LATTICE.sd[rows]] ** 2
        grip = fit.precision @ self.design_
        inner = self.design_.T @ grip
        mean = np.hstack([sd2[:, None] * fit.gradient, (fit.gradient @ self.design_) * variance])
        out = _nothing(stops + width, width - 1)
        for step in np.unique(LATTICE.range[rows]):
            here = LATTICE.range[rows] == step
            w, of_sd = weight[here], weight[here] * sd2[here]
            second = (mean[here].T * w) @ mean[here]
            second[:stops, :stops] -= np.tensordot(of_sd * sd2[here], fit.precision[here], 1)
            cross = np.tensordot(of_sd, grip[here], 1) * variance
            second[:stops, stops:] -= cross
            second[stops:, :stops] -= cross.T
            second[stops:, stops:] += w.sum() * np.diag(variance) - variance[:, None] * np.tensordot(w, inner[here], 1) * variance
            out.mean[step], out.second[step], out.variance[step] = w @ mean[here], second, of_sd.sum()
        slopes = []
        for column in active[1:]:
            own = variance[column] * inner[:, :, column] * variance
            with_g = np.hstack([-sd2[:, None] * grip[:, :, column] * variance[column], -own])
            with_g[:, stops + column] += variance[column]
            slope, slope_variance = mean[:, stops + column], variance[column] - own[:, column]
            for step in np.unique(LATTICE.range[rows]):
                here = LATTICE.range[rows] == step
                out.slope_mean[column - 1, step] = weight[here] @ (with_g[here] + mean[here] * slope[here, None])
            out.slope[column - 1] = weight @ slope
            out.slope_second[column - 1] = weight @ (slope_variance + slope**2)
            slopes.append(_Slopes(column - 1, weight, slope, np.sqrt(slope_variance)))
        return dataclasses.replace(out, weight=float(weight.sum())), slopes

    def _expected_sd(self, counts: Counts) -> dict[str, float]:
        """Posterior sd of each driver's slope from where and how much was looked at, averaged over the priors."""
        hinges, expected = self.design_[:, 1:], {driver: 0.0 for driver in DRIVERS if any(h.driver == driver for h in self.hinges_)}
        for rows in self._batches(np.arange(LATTICE.size.size)) if expected else []:
            noise = 1 / counts.expected_curvature(LATTICE.size[rows, None] * counts.share)
            kernels = self._prior(rows)
            kernels[:, np.arange(len(self.places_)), np.arange(len(self.places_))] += noise
            grip = hinges.T @ np.linalg.solve(kernels, np.broadcast_to(hinges, (rows.size, *hinges.shape)))
            for driver in expected:
                expected[driver] += float(LATTICE.prior[rows] @ self._slope_variance(driver, grip))
        return {driver: float(np.sqrt(variance)) for driver, variance in expected.items()}

    def _slope_variance(self, driver: str, grip: Floats) -> Floats:
        """Variance of a driver's slope beside the other's, averaged over knots, ``[row]``."""
        place, found = DRIVERS.index(driver), []
        full = [key for key in self._keys() if key[place] >= 0]
        most = max(sum(column >= 0 for column in key) for key in full)
        for key in full:
            used = [column for column in (key[place], key[1 - place]) if column >= 0]
            if len(used) == most:
                found.append(np.linalg.inv(np.diag(1 / self._variance[1:][used]) + grip[:, used][:, :, used])[:, 0, 0])
        return np.asarray(np.mean(found, axis=0))


@dataclass(frozen=True)
class _Lattice:
    """Every (sd, range, size), one row each; `sd` and `range` are indices."""

    sd: Whole
    range: Whole
    size: Floats
    prior: Floats

    @property
    def log_prior(self) -> Floats:
        return np.log(self.prior)


def _lattice() -> _Lattice:
    sd, steps, size = (axis.ravel() for axis in np.meshgrid(np.arange(SD.size), np.arange(RANGE.size), np.arange(SIZE.size), indexing="ij"))
    clumping = 1 / np.sqrt(SIZE)
    # Density times the width of lattice that each value stands for.
    of_sd = np.exp(-SD / SD_MEAN) * np.abs(np.gradient(SD))
    of_size = np.exp(-clumping / CLUMPING_MEAN) * np.abs(np.gradient(clumping))
    prior = of_sd[sd] / np.sqrt(RANGE[steps]) * of_size[size]
    return _Lattice(sd, steps, SIZE[size], prior / prior.sum())


LATTICE = _lattice()


@dataclass(frozen=True)
class _Slopes:
    """Slopes of one hinge under rows of one model."""

    hinge: int
    weight: Floats
    mean: Floats
    sd: Floats


def _kernels(places_m: Floats, stops_m: Floats, longest_m: float) -> Iterator[Floats]:
    """Exponential correlation for each range, longest first: each the square of the one before, in one array."""
    kernel = cdist(places_m, stops_m)
    kernel *= -1 / longest_m
    np.exp(kernel, out=kernel)
    for step in range(RANGE.size):
        if step:
            np.square(kernel, out=kernel)
        yield kernel


def _gain(pull: Floats, grip: Floats, variance: Floats) -> Floats:
    """Change of log evidence when hinges of prior `variance` join, to second order, ``[row]``."""
    inner = np.diag(1 / variance) + grip
    fit = np.einsum("ja,ja->j", pull, np.linalg.solve(inner, pull[:, :, None])[:, :, 0])
    return np.asarray(0.5 * (fit - np.linalg.slogdet(inner)[1] - np.log(variance).sum()))


def _kept(scores: dict[tuple[int, int], Floats]) -> dict[tuple[int, int], Whole]:
    """Rows of the lattice that carry `KEPT` of the weight of each set of drivers; the rest changes nothing to be seen."""
    out = {}
    for drivers in itertools.product((False, True), repeat=2):
        keys = [key for key in scores if tuple(column >= 0 for column in key) == drivers]
        if not keys:
            continue
        weight = np.exp(np.stack([scores[key] for key in keys]) - max(scores[key].max() for key in keys))
        order = np.sort(weight, axis=None)[::-1]
        least = order[min(np.searchsorted(np.cumsum(order), KEPT * order.sum()), order.size - 1)]
        out.update({key: np.flatnonzero(row >= least) for key, row in zip(keys, weight, strict=True) if (row >= least).any()})
    return out


def _nothing(features: int, hinges: int) -> Posterior:
    steps = RANGE.size
    return Posterior(
        0.0,
        np.zeros((steps, features)),
        np.zeros((steps, features, features)),
        np.zeros(steps),
        np.zeros(hinges),
        np.zeros(hinges),
        np.zeros((hinges, steps, features)),
    )


def _slope(driver: str, slopes: list[_Slopes], hinges: list[Hinge], expected_sd: float) -> Slope:
    own = [part for part in slopes if hinges[part.hinge].driver == driver]
    weight, mean, sd = (np.concatenate([getattr(part, name) for part in own]) for name in ("weight", "mean", "sd"))
    return Slope(weight / weight.sum(), mean, sd, expected_sd)


def _mean_knot(driver: str, slopes: list[_Slopes], hinges: list[Hinge]) -> float:
    own = [(part.weight.sum(), hinges[part.hinge].knot) for part in slopes if hinges[part.hinge].driver == driver]
    weight, knot = np.array(own).T
    return float(weight @ knot / weight.sum())
