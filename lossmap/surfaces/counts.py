"""Counts at a few stops to a surface of seeds on the ground, with honest doubt.

Seed only ever adds up along the combine's way. In front of it lies what fell before
harvest, behind the header that and what the header lost, behind the combine that and what
the machine lost (concentrated where residue falls in a windrow). Each is one *part* of the
loss; a count sees the parts that lie on its area, so a stop with any of the positions speaks
of the total, and what divides it is never a difference of counts.

The model, for a count ``y`` on area ``e`` at place ``s`` that sees parts ``p`` with weights ``a_p``::

    y ~ negative binomial, mean e sum_p a_p loss_p(s), variance mean + mean^2 / size
    loss_p(s) = level exp(g(s)) w_p exp(h_p(s)) / sum of all parts' w exp(h(s))
    h_p(s) = intercept + intercept_p + slope (v(s) - X)+ + slope (Y - m(s))+ + f_p(s)
    g(s)   = sum of all parts' w h(s),  w the shares of the parts where all h are 0
    f_p    ~ Gaussian processes, each with covariance  sd^2 k(distance / range)

So the nested intensities at the three positions are modelled together, each part close to
log-Gaussian, and the total is so exactly. (Log-Gaussian parts simply added up put the total
6 to 14 % too high where parts are told apart badly; a total whose shares do not know of it
held the truth too seldom where residue lies in a windrow.) Intercepts and slopes have normal
priors, so h is one Gaussian process and everything below is linear algebra on the
covariance C of what the counts see of it (`lossmap.surfaces.laplace`):

* k is rough, exp(-x), or smooth, (1 + x) exp(-x) (Matern 1/2 and 3/2): nobody knows
  beforehand which, and either alone maps the other's fields worse;
* (sd, k, range, size) are not optimised but summed over a fixed lattice, each combination
  weighted by prior times evidence (Rue, Martino & Chopin 2009), and so are the models
  with and without each driver and the knots X and Y (from memory);
* which combinations matter is found from the models without drivers: hinges h add
  ``h S h'`` to C, and with ``P = h' M h``, ``M = (C + 1/W)^-1``, ``r = h' gradient``, the
  log evidence changes by ``r' (1/S + P)^-1 r / 2 - log|1 + S P| / 2`` to second order.
  Only combinations that carry weight by this are then stepped to their own mode;
* mean and covariance of g and h anywhere under the whole mixture need no loop over it: with
  the features ``phi(s) = (k(|s - s_i| / range), 1, hinges(s))`` a combination's mean of
  latent k is ``phi a_k`` and its covariance of k and l ``prior - phi B_k M B_l' phi'``, so
  weighted sums of ``a_k a_l' - B_k M B_l'``, one for each k and range, serve every cell. The
  ranges halve, so that two exponentials and squaring give all eleven kernels.

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
from lossmap.base.logloss import FALLEN, Hinge
from lossmap.base.tables import DRIVE
from lossmap.surfaces.laplace import Counts, Fit, Prior, laplace

__all__ = ["DRIVERS", "SLOPE_SD", "CountModel", "Counted", "Posterior", "Slope"]

Whole = npt.NDArray[np.intp]

DRIVERS = tuple(DRIVE)

# The lattice. Ranges, at which correlation has fallen to 0.37, as shares of the field's diagonal;
# they halve (see the module's last point), of rough processes first, of smooth ones after.
SD = np.array([0.1, 0.2, 0.35, 0.55, 0.85])
ROUGH, SMOOTH = 6, 5
RANGE = 0.5 ** np.concatenate([np.arange(1, 1 + ROUGH), np.arange(1, 1 + SMOOTH)])
SIZE = np.array([1.0, 2.5, 6.0, 15.0, 50.0])

# Priors: exponential on sd and on the clumping 1/sqrt(size). On the logarithm of the range it
# falls with the range's root: loss changes over tens of metres at least as readily as over
# hundreds, and a range that is taken too long makes a map too sure of itself.
SD_MEAN, CLUMPING_MEAN = 0.4, 0.3
INTERCEPT_SD = 2.0
# Of what each part's intercept has alone: wider ones draw small parts up.
PART_SD = 0.7
#: Prior sd of the slopes of log loss, per m/s and per point of moisture: between a moderate
#: effect (x1.49 for +0.5 m/s, x1.65 for -2 points) and one of twice that.
SLOPE_SD = {"speed": 1.2, "dryness": 0.4}

# Share of the weight of each model (with or without a driver) that is stepped to its own mode.
KEPT = 0.98
# How far g may still move, in the search for the combinations that matter and in those that are kept.
COARSE, FINE = 0.1, 0.01
# Normals that a slope's posterior is thinned to: slices by width, each in slices by mean.
SD_SLICES, MEAN_SLICES = 15, 4
# Most combinations that a second opinion on a driver is averaged over.
MOST_PLAIN = 12
# Places a block: small enough for the processor's cache.
BLOCK = 1024
# Bytes of one batch of kernels: about what a processor keeps near.
BATCH = 8e6
# Steps towards the likeliest rates of the parts, which only centre the intercepts.
RATE_STEPS = 300
# Clumping that the rates' own doubt is reckoned with.
RATE_SIZE = 2.5
# Variance of a part's process where counts do not tell it (common practice, no source).
PART_PROCESS = 0.35
# Standard errors from 0 at which half of a part's prior share is taken from the counts.
CLEAR = 2.0


@dataclass(frozen=True)
class Counted:
    """Every count of a field, one row each.

    Attributes
    ----------
    stop : array of int, ``[count]``
        Which of the stops it was taken at.
    seeds, area_m2 : array, ``[count]``
        How many (need not be whole) on how much ground, above 0.
    sees : array, ``[count, part]``
        What a square metre there holds of each part: 0, 1, or more where residue is concentrated.
    worth : array, ``[part]``
        What a seed a square metre of each part weighs [kg/ha] (or counts as, in any one unit).
    breadth : array, ``[count]``
        Area over the mean area of its kind.
    usual : array, ``[part]``, optional
        Share of each part in the total that is to be expected before any count; alike where not given.
    """

    stop: Whole
    seeds: Floats
    area_m2: Floats
    sees: Floats
    worth: Floats
    breadth: Floats
    usual: Floats | None = None

    @classmethod
    def total(cls, seeds: npt.ArrayLike, area_m2: npt.ArrayLike) -> Counted:
        """One count a stop, of all loss together, in seeds a square metre."""
        number, area = np.asarray(seeds, float), np.asarray(area_m2, float)
        return cls(np.arange(number.size), number, area, np.ones((number.size, 1)), np.ones(1), area / area.mean())

    def rates(self) -> Floats:
        """Likely mean of each part over the field [1/m2], ``[part]``: where the shares' priors are centred.

        Counts taken as Poisson and summed over the field (expectation maximisation: rates
        stay positive). The counts speak again in the fit, so a part's share is taken from
        them here only as far as it is many standard errors from 0; a part that they hardly
        tell is put at its usual share. The total stays.
        """
        looked_at = self.area_m2[:, None] * self.sees
        # half a seed keeps rates finite where none was found
        rates = np.full(self.sees.shape[1], (self.seeds.sum() + 0.5) / looked_at.sum())
        for _ in range(RATE_STEPS):
            mean = looked_at @ rates
            rates = (rates * (looked_at.T @ (self.seeds / mean)) + 0.5 / RATE_STEPS) / looked_at.sum(axis=0)
        if rates.size == 1:
            return rates
        mean = np.maximum(looked_at @ rates, 1e-12)
        information = looked_at.T @ (looked_at / (mean + mean**2 / (RATE_SIZE * self.breadth))[:, None])
        error = np.sqrt(np.linalg.pinv(information).diagonal())
        total = self.worth @ rates
        share, doubt = self.worth * rates / total, self.worth * error / total
        usual = np.full(rates.size, 1 / rates.size) if self.usual is None else self.usual
        told = share**2 / (share**2 + (CLEAR * doubt) ** 2)
        # what is not told is log-normal, whose mean lies above its middle; the largest part is what the others are left of
        middle = np.where(usual == usual.max(), usual, usual * np.exp(-(PART_SD**2 + PART_PROCESS) / 2))
        drawn = share**told * middle ** (1 - told)
        return np.asarray(drawn / drawn.sum() * total / self.worth)


@dataclass(frozen=True)
class Plain:
    """The likeliest combinations without any driver: weight ``[model]``, pull of each count ``[model, count]``, precision."""

    weight: Floats
    gradient: Floats
    precision: Floats

    def score(self, beyond: Floats) -> float:
        """How many standard errors the slope of a hinge not fitted lies above 0; `beyond` is ``[count]``."""
        pull, grip = self.gradient @ beyond, np.einsum("c,jcd,d->j", beyond, self.precision, beyond)
        return float(self.weight @ (pull / np.sqrt(np.maximum(grip, 1e-12))))


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

    def thinned(self) -> Slope:
        """The same curve of at most 60 normals: neighbours in width and mean are brought together, their moments kept."""
        # the ends of the curve are made by many normals of little weight each
        counts = np.cbrt(self.weight)
        of_sd = _slices(self.sd, counts, SD_SLICES)
        group = of_sd * MEAN_SLICES
        for here in (of_sd == one for one in range(SD_SLICES)):
            group[here] += _slices(self.mean[here], counts[here], MEAN_SLICES)
        group = np.unique(group, return_inverse=True)[1]
        weight = np.asarray(np.bincount(group, self.weight), float)
        mean = np.bincount(group, self.weight * self.mean) / weight
        square = np.bincount(group, self.weight * (self.sd**2 + (self.mean - mean[group]) ** 2)) / weight
        return Slope(weight, mean, np.sqrt(square), self.expected_sd)

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
    mean : array, ``[range, part, feature]``
        Of the coefficients ``a``.
    second : array, ``[range, part, part, feature, feature]``
        Of ``a a' - B M B'`` and the prior variances of intercept and slopes.
    variance : array, ``[range]``
        Of sd^2.
    slope, slope_second : array, ``[hinge]``
        Of each slope and of its square.
    slope_mean : array, ``[hinge, range, feature]``
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
    def nothing(cls, parts: int, features: int, hinges: int) -> Posterior:
        """A sum of no combinations."""
        steps = RANGE.size
        return cls(
            0.0,
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
    slope_variance_ : array, ``[hinge]``
        Prior variance of each slope.
    slopes_ : dict of str to Slope
        Each driver's slope over the models with that driver.
    knots_ : dict of str to float
        Each driver's knot, averaged over those models.
    lattice_weight_ : array, ``[row of the lattice]``
        Weight of each combination over all models; adds to 1.
    plain_ : Plain
        Fits without any driver.
    groups_ : dict of (int, int) to Posterior
        One for each pair of hinges (of speed, of dryness; -1 without), weights adding to 1.

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
        self.design_ = self.design(len(self.places_), speed, moisture)
        self._own = PART_SD**2 if rates.size > 1 else 0.0
        self.slope_variance_ = np.array([SLOPE_SD[hinge.driver] ** 2 for hinge in self.hinges_])
        kernels = np.stack([kernel.copy() for kernel in self.kernels(self.places_, self.places_)])
        self._kernels = kernels[:, counted.stop[:, None], counted.stop]
        self._condition(Counts(counted.seeds, counted.area_m2[:, None] * counted.sees * rates, self.share_, counted.breadth))
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
        part = self.posterior() if part is None else part
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
        part = self.posterior() if part is None else part
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
        every, place = self.posterior(), len(self.places_)
        mean = every.mean[:, :, place].sum(axis=0) / every.weight
        return mean, every.second[:, :, :, place, place].sum(axis=0) / every.weight - np.outer(mean, mean)

    def typical(self) -> tuple[float, float, float]:
        """What the counts make likeliest of sd, of range [m] and of the negative binomial's size on an area of mean size."""
        variance = self.lattice_weight_ @ SD[LATTICE.sd] ** 2
        log_range = self.lattice_weight_ * SD[LATTICE.sd] ** 2 @ np.log(self._longest_m() * RANGE[LATTICE.range] / RANGE[0])
        return float(np.sqrt(variance)), float(np.exp(log_range / variance)), float(1 / (self.lattice_weight_ @ (1 / LATTICE.size)))

    def posterior(self, hinges: Collection[int] | None = None) -> Posterior:
        """All groups added up, or those with any of these hinges (indices into `hinges_`)."""
        chosen = [group for key, group in self.groups_.items() if hinges is None or set(hinges) & set(key)]
        return functools.reduce(operator.add, chosen)

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

    def _hinges(self, speed: Floats | None, moisture: Floats | None) -> list[Hinge]:
        """The knots given, else the quarters of what the stops saw; one of several equal ones."""
        found = []
        for driver, values, knots in (("speed", speed, self.speed_knots), ("dryness", moisture, self.moisture_knots)):
            if values is not None:
                chosen = knots or np.quantile(np.asarray(values, float), (0.25, 0.5, 0.75))
                found += [Hinge(driver, float(knot)) for knot in np.unique(chosen)]
        return found

    def design(self, places: int, speed: Floats | None, moisture: Floats | None) -> Floats:
        """How far each place is beyond each knot, ``[place, hinge]``."""
        values = {"speed": speed, "dryness": moisture}
        columns = [hinge.of(np.asarray(values[hinge.driver], float)) for hinge in self.hinges_]
        return np.column_stack(columns) if columns else np.empty((places, 0))

    def kernels(self, places_m: Floats, other_m: Floats) -> Iterator[Floats]:
        """Correlation of each process of the lattice between places, in the order of `RANGE`; what is yielded lives until the next."""
        return _kernels(places_m, other_m, self._longest_m())

    def _longest_m(self) -> float:
        spread = self.diagonal_m or float(np.hypot(*np.ptp(self.places_, axis=0)))
        return float(RANGE[0] * max(spread, 1.0))

    def _condition(self, counts: Counts) -> None:
        """Find the combinations that matter, step each to its own mode, and add them up."""
        scores, modes = self._scores(counts)
        highest = max(float(score.max()) for score in scores.values())
        self.groups_: dict[tuple[int, int], Posterior] = {}
        self.lattice_weight_ = np.zeros(LATTICE.size.size)
        slopes: list[_Slopes] = []
        for key, kept in _kept(scores).items():
            for rows in self.batches(kept):
                fit = laplace(counts, self.prior(rows, key), LATTICE.size[rows], FINE, modes[rows])
                weight = np.exp(fit.log_evidence + LATTICE.log_prior[rows] + self._log_prior(key) - highest)
                group, slope = self._sums(fit, rows, key, weight)
                self.groups_[key] = self.groups_[key] + group if key in self.groups_ else group
                self.lattice_weight_[rows] += weight
                slopes += slope
        total = sum(group.weight for group in self.groups_.values())
        self.groups_ = {key: group.scaled(1 / total) for key, group in self.groups_.items()}
        self.lattice_weight_ /= total
        expected = self._expected_sd(counts)
        self.slopes_ = {driver: _slope(driver, slopes, self.hinges_, expected[driver]) for driver in expected}
        self.knots_ = {driver: _mean_knot(driver, slopes, self.hinges_) for driver in expected}

    def _keys(self) -> list[tuple[int, int]]:
        """Every model: a hinge of speed or none, a hinge of dryness or none, as indices into `hinges_` or -1."""
        of = [[column for column, hinge in enumerate(self.hinges_) if hinge.driver == driver] for driver in DRIVERS]
        return list(itertools.product([-1, *of[0]], [-1, *of[1]]))

    def _log_prior(self, key: tuple[int, int]) -> float:
        """A driver is in or out with equal chance, and its knots share the chance of being in; up to a constant."""
        among = [sum(other.driver == self.hinges_[column].driver for other in self.hinges_) for column in hinges_of(key)]
        return -math.log(math.prod(among))

    def batches(self, rows: Whole) -> list[Whole]:
        """`rows` of the lattice in pieces whose kernels fit in memory together."""
        pieces = int(np.ceil(rows.size * self.counted_.seeds.size**2 * 8 / BATCH))
        return np.array_split(rows, max(1, pieces))

    def prior(self, rows: Whole, key: tuple[int, int] = (-1, -1)) -> Prior:
        """Covariance of g at the counts for `rows` of the lattice, with the hinges of one model."""
        kernel = SD[LATTICE.sd[rows], None, None] ** 2 * self._kernels[LATTICE.range[rows]]
        active = hinges_of(key)
        return Prior(kernel, INTERCEPT_SD**2, self._own, self.design_[self.counted_.stop][:, active], self.slope_variance_[active])

    def _scores(self, counts: Counts) -> tuple[dict[tuple[int, int], Floats], Floats]:
        """Log of prior times evidence of each model at each row of the lattice, from the model without drivers; and its modes."""
        every, hinges = np.arange(LATTICE.size.size), len(self.hinges_)
        plain, modes = np.empty(every.size), np.empty((every.size, *counts.expected.shape))
        pull, grip = np.empty((every.size, hinges)), np.empty((every.size, hinges, hinges))
        beyond = self.design_[self.counted_.stop]
        # the mode in the lattice's middle is nearer to the others' than nothing is
        start = laplace(counts, self.prior(MIDDLE), LATTICE.size[MIDDLE], COARSE).mode
        for rows in self.batches(every):
            fit = laplace(counts, self.prior(rows), LATTICE.size[rows], COARSE, np.repeat(start, rows.size, axis=0))
            plain[rows], modes[rows] = fit.log_evidence + LATTICE.log_prior[rows], fit.mode
            pull[rows] = fit.gradient @ beyond
            grip[rows] = beyond.T @ (fit.precision @ beyond)
        self.plain_ = self._plain(counts, plain, modes)
        scores: dict[tuple[int, int], Floats] = {}
        for key in self._keys():
            used = hinges_of(key)
            gain = _gain(pull[:, used], grip[:, used][:, :, used], self.slope_variance_[used]) if used else 0.0
            scores[key] = plain + gain + self._log_prior(key)
        return scores, modes

    def _plain(self, counts: Counts, score: Floats, modes: Floats) -> Plain:
        """The likeliest rows of the lattice, stepped to their modes."""
        rows = np.sort(np.argsort(-score, kind="stable")[:MOST_PLAIN])
        fit = laplace(counts, self.prior(rows), LATTICE.size[rows], FINE, modes[rows])
        weight = np.exp(score[rows] - score.max())
        return Plain(weight / weight.sum(), fit.gradient, fit.precision)

    def _sums(self, fit: Fit, rows: Whole, key: tuple[int, int], weight: Floats) -> tuple[Posterior, list[_Slopes]]:
        """What `rows` of one model add to the mixture."""
        stops, parts, hinges = len(self.places_), self.share_.size, len(self.hinges_)
        active = hinges_of(key)
        known = _Known(self, fit, rows, active)
        used = np.array([*range(stops + 1), *(stops + 1 + column for column in active)])
        out = Posterior.nothing(parts, stops + 1 + hinges, hinges)
        for step in np.unique(LATTICE.range[rows]):
            here = np.flatnonzero(LATTICE.range[rows] == step)
            out.mean[step][:, used] = np.tensordot(weight[here], known.mean[here], 1)
            out.variance[step] = weight[here] @ known.sd2[here]
            for one, other in itertools.combinations_with_replacement(range(parts), 2):
                second = known.second(one, other, here, weight[here])
                out.second[step, one, other][np.ix_(used, used)] = second
                out.second[step, other, one][np.ix_(used, used)] = second.T
            for place, column in enumerate(active):
                out.slope_mean[column, step][used] = known.with_slope(place, here, weight[here])
        out.slope[active] = weight @ known.slope
        out.slope_second[active] = weight @ (known.slope_variance + known.slope**2)
        slopes = [
            _Slopes(column, weight, known.slope[:, place], np.sqrt(known.slope_variance[:, place])) for place, column in enumerate(active)
        ]
        return dataclasses.replace(out, weight=float(weight.sum())), slopes

    def _expected_sd(self, counts: Counts) -> dict[str, float]:
        """Posterior sd of each driver's slope from where and how much was looked at, averaged over the priors."""
        expected = {driver: 0.0 for driver in DRIVERS if any(hinge.driver == driver for hinge in self.hinges_)}
        _, lever = counts.seen(np.zeros((1, *counts.expected.shape)))
        beyond = self.design_[self.counted_.stop]
        for rows in self.batches(np.arange(LATTICE.size.size)) if expected else []:
            noisy = self.prior(rows).covariance(lever)
            count = np.arange(counts.seeds.size)
            noisy[:, count, count] += 1 / counts.expected_curvature(LATTICE.size[rows, None] * counts.breadth)
            grip = beyond.T @ np.linalg.solve(noisy, np.broadcast_to(beyond, (rows.size, *beyond.shape)))
            for driver in expected:
                expected[driver] += float(LATTICE.prior[rows] @ self._slope_variance(driver, grip))
        return {driver: float(np.sqrt(variance)) for driver, variance in expected.items()}

    def _slope_variance(self, driver: str, grip: Floats) -> Floats:
        """Variance of a driver's slope beside the other's, averaged over knots, ``[row]``."""
        place, found = DRIVERS.index(driver), []
        full = [key for key in self._keys() if key[place] >= 0]
        most = max(len(hinges_of(key)) for key in full)
        for key in full:
            used = hinges_of((key[place], key[1 - place]))
            if len(used) == most:
                found.append(np.linalg.inv(np.diag(1 / self.slope_variance_[used]) + grip[:, used][:, :, used])[:, 0, 0])
        return np.asarray(np.mean(found, axis=0))


class _Known:
    """What a batch of fits of one model knows, gathered from counts to the features of stops, intercept and active hinges.

    Attributes
    ----------
    sd2 : array, ``[model]``
    mean : array, ``[model, part, feature]``
        Coefficients of each part's mean.
    slope, slope_variance : array, ``[model, active]``
    """

    def __init__(self, model: CountModel, fit: Fit, rows: Whole, active: list[int]) -> None:
        self.fit, self.share, self.own, self.variance = fit, model.share_, model._own, model.slope_variance_[active]
        self.sd2 = SD[LATTICE.sd[rows]] ** 2
        self.stop, self.stops = model.counted_.stop, len(model.places_)
        self.is_of_stop = (self.stop[:, None] == np.arange(self.stops)).astype(float)
        self.is_one_each = np.array_equal(self.stop, np.arange(self.stops))
        self.beyond = model.design_[self.stop][:, active]
        # prior covariance of intercept and slopes with what the counts see, [model, count, 1 + active] a part
        self.reach = [self._reach(part) for part in range(self.share.size)]
        self.gripped = [fit.precision @ reach for reach in self.reach]
        self.mean = np.stack([self._mean(part) for part in range(self.share.size)], axis=1)
        self.slope_grip = fit.precision @ self.beyond
        self.slope = self.variance * (fit.gradient @ self.beyond)
        self.slope_variance = self.variance - self.variance**2 * np.einsum("ch,jch->jh", self.beyond, self.slope_grip)

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

    def second(self, one: int, other: int, here: Whole, weight: Floats) -> Floats:
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

    def with_slope(self, place: int, here: Whole, weight: Floats) -> Floats:
        """Weighted sum of the coefficients of ``E[g slope]``, g the total's, ``[feature]``."""
        pull = self.variance[place] * self.slope_grip[here, :, place]
        of_stops = -self.sd2[here, None] * self._by_stop(pull * (self.fit.lever[here] @ self.share))
        of_design = -np.einsum("jc,jcd->jd", pull, sum(share * reach[here] for share, reach in zip(self.share, self.reach, strict=True)))
        of_design[:, 1 + place] += self.variance[place]
        both = np.hstack([of_stops, of_design]) + (self.share @ self.mean[here]) * self.slope[here, place, None]
        return np.asarray(weight @ both)


def _slices(values: Floats, weight: Floats, number: int) -> Whole:
    """Which of `number` slices of about equal weight each value is in, from the lowest."""
    order = np.argsort(values, kind="stable")
    before = np.cumsum(weight[order]) - weight[order] / 2
    out = np.empty(values.size, dtype=np.intp)
    out[order] = np.minimum(before / weight.sum() * number, number - 1).astype(np.intp)
    return out


def hinges_of(key: tuple[int, int]) -> list[int]:
    """Hinges that a model has: one of speed, one of dryness, or fewer."""
    return [column for column in key if column >= 0]


@dataclass(frozen=True)
class _Lattice:
    """Every (sd, process, size), one row each; `sd` and `range` are indices."""

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
# The row in the lattice's middle.
MIDDLE = np.array([LATTICE.size.size // 2])


@dataclass(frozen=True)
class _Slopes:
    """Slopes of one hinge under rows of one model."""

    hinge: int
    weight: Floats
    mean: Floats
    sd: Floats


def _kernels(places_m: Floats, stops_m: Floats, longest_m: float) -> Iterator[Floats]:
    """Correlation of each process of the lattice, rough ones first, each longest first; what is yielded lives until the next."""
    far = cdist(places_m, stops_m)
    far /= longest_m
    falling = np.exp(-far)
    for step in range(ROUGH):
        if step:
            np.square(falling, out=falling)
        yield falling
    far *= FALLEN
    np.exp(-far, out=falling)
    for step in range(SMOOTH):
        if step:
            np.square(falling, out=falling)
            far *= 2
        yield (1 + far) * falling


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


def _slope(driver: str, slopes: list[_Slopes], hinges: list[Hinge], expected_sd: float) -> Slope:
    own = [part for part in slopes if hinges[part.hinge].driver == driver]
    weight, mean, sd = (np.concatenate([getattr(part, name) for part in own]) for name in ("weight", "mean", "sd"))
    return Slope(weight / weight.sum(), mean, sd, expected_sd)


def _mean_knot(driver: str, slopes: list[_Slopes], hinges: list[Hinge]) -> float:
    own = [(part.weight.sum(), hinges[part.hinge].knot) for part in slopes if hinges[part.hinge].driver == driver]
    weight, knot = np.array(own).T
    return float(weight @ knot / weight.sum())
