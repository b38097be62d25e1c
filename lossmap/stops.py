"""Where to count next: the stops that tell most, before any count and after a first round.

Before any count nothing is known of the loss, and what a field can show is decided by how
far the stops lie apart: in place for the map, in ground speed and moisture for the verdicts.
`farthest` takes, one after the other, the place that is farthest from all stops so far in
(x, y, 0.7 speed, 0.7 moisture), each by its own standard deviation.

After a first round the count model says how loss changes over the field and how much one
stop tells. With those held, log loss is a Gaussian process with slopes,

    g(s) = level + sum_k slope_k hinge_k(s) + f(s),   cov f = sd^2 k(distance / range),

a stop sees g with variance 1 / precision (`CountDoubt` says how much its counts amount to),
and what any further stop will do to every doubt is known before it is counted. `next_stops`
takes, one after the other, the place that shrinks most

    sum over undecided drivers k of max(var slope_k / wanted_k^2, 1)  +  mean var g / mean var g now,

so a verdict that is far from decided outweighs the map, one that is decided asks for
nothing more, and the rest goes to the map. Each step is one rank-one update of the
covariances that matter (slopes and support with candidates), never of all by all.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pyproj
import scipy.linalg
import shapely
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from lossmap.base.grid import Floats
from lossmap.base.logloss import CountDoubt, DriverDoubt
from lossmap.base.tables import PLAN

__all__ = ["Ground", "Picked", "farthest", "next_stops", "plan_table", "spread"]

Whole = npt.NDArray[np.intp]

# How much a standard deviation of speed or moisture weighs against one of place.
DRIVER_WEIGHT = 0.7
# Speeds and moistures beyond these parts of the field's own pull no further: a record or two, not ground one can count on.
OUTERMOST = (0.005, 0.995)
# Distances that differ by less are one: which of two equal places is taken must not hang on the last digit.
TIE = 1e-9
# More candidates than this are thinned evenly: between them, places tell alike.
MOST_CANDIDATES = 4000
# Places that stand for the whole field in the map's doubt.
SUPPORT = 300
# Further stops beyond which "how many are needed" is answered with "more than that".
MOST_NEEDED = 100
# Steps round a circle that visit any number of places evenly (the golden ratio's fraction).
GOLDEN = 0.6180339887498949


@dataclass(frozen=True)
class Ground:
    """Places where a stop may be, with what is known of how they were cut.

    Attributes
    ----------
    crs : pyproj.CRS
        Metric.
    places_m : array, ``[place, 2]``
        Easting and northing [m].
    speed, moisture : array, ``[place]``, or None
        Ground speed [m/s] and grain moisture [%], NaN where unknown; None where no log tells.
    """

    crs: pyproj.CRS
    places_m: Floats
    speed: Floats | None = None
    moisture: Floats | None = None

    def __len__(self) -> int:
        return len(self.places_m)

    def some(self, rows: Whole) -> Ground:
        """The places of `rows` alone."""
        return Ground(self.crs, self.places_m[rows], *(None if part is None else part[rows] for part in (self.speed, self.moisture)))

    @property
    def driven(self) -> dict[str, Floats]:
        """What is known of each driver, ``speed`` first."""
        both = {"speed": self.speed, "dryness": self.moisture}
        return {name: values for name, values in both.items() if values is not None}

    def beside(self, other: Ground) -> Ground:
        """These places and, behind them, the other's; what only one of the two knows is NaN for the other."""
        return Ground(
            self.crs,
            np.vstack([self.places_m, other.places_m]),
            _joined(self.speed, other.speed, len(other)),
            _joined(self.moisture, other.moisture, len(other)),
        )


@dataclass(frozen=True)
class Picked:
    """Places taken, the most useful first.

    Attributes
    ----------
    index : array of int, ``[stop]``
        Rows of the `Ground`.
    reasons : tuple of str
        For each, what it tells most about: ``place``, ``speed`` or ``dryness``.
    slope_sd : mapping of str to array, ``[1 + stop]``
        Posterior sd of each driver's slope now and after each stop; empty before any count.
    surface_sd : array, ``[1 + stop]``
        Root of the mean variance of log loss over the field, likewise.
    needed : mapping of str to int or None
        For each driver without a verdict: how many such stops until one can be given; None
        where more than `MOST_NEEDED`, or than there is ground for, would not do.
    """

    index: Whole
    reasons: tuple[str, ...]
    slope_sd: Mapping[str, Floats] = field(default_factory=dict)
    surface_sd: Floats = field(default_factory=lambda: np.empty(0))
    needed: Mapping[str, int | None] = field(default_factory=dict)


def spread(places_m: Floats, speed: Floats | None, moisture: Floats | None, number: int, taken: Whole | None = None) -> Whole:
    """Places far from one another in place, ground speed and moisture at once.

    Parameters
    ----------
    places_m : array, ``[place, 2]``
        Easting and northing [m].
    speed, moisture : array, ``[place]``, optional
        Ground speed [m/s] and moisture [%]; unknown ones (NaN) pull nowhere.
    number : int
        How many; fewer come back where there are no more places.
    taken : array of int, optional
        Rows where stops already are: never chosen, and the others keep away from them.

    Returns
    -------
    array of int, ``[number]``
        Rows in the order of usefulness: each is the farthest from all before it. The first
        is the most middling place where nothing is taken.
    """
    traits = _traits(places_m, speed, moisture)
    have = np.empty(0, dtype=np.intp) if taken is None else np.asarray(taken, dtype=np.intp)
    free = np.ones(len(traits), dtype=bool)
    free[have] = False
    chosen: list[int] = []
    away = np.full(len(traits), np.inf)
    for row in have:
        away = np.minimum(away, _apart(traits, row))
    for _ in range(min(number, int(free.sum()))):
        # where nothing is taken every place is infinitely far: the first is the one in the middle of all
        usefulness = away if have.size or chosen else -((traits - traits.mean(axis=0)) ** 2).sum(axis=1)
        row = _first_best(usefulness, free)
        chosen.append(row)
        free[row] = False
        away = np.minimum(away, _apart(traits, row))
    return np.array(chosen, dtype=np.intp)


def farthest(ground: Ground, number: int, counted: Ground | None = None) -> Picked:
    """Stops before any count tells more: `spread` over the ground, away from stops already counted.

    The reason of each is the part (place, speed, dryness) in which it lies farthest from the
    stop most like it.
    """
    every = ground if counted is None else ground.beside(counted)
    taken = np.arange(len(ground), len(every))
    index = spread(every.places_m, every.speed, every.moisture, number, taken)
    traits = _traits(every.places_m, every.speed, every.moisture)
    parts = [("place", slice(0, 2)), *((name, slice(2 + at, 3 + at)) for at, name in enumerate(every.driven))]
    before = taken.tolist()
    reasons = []
    for row in index.tolist():
        step = traits[before][np.argmin(_apart(traits[before], traits[row]))] - traits[row] if before else np.zeros(traits.shape[1])
        reasons.append(max(parts, key=lambda part: float((step[part[1]] ** 2).sum()))[0])
        before.append(row)
    return Picked(index, tuple(reasons))


def next_stops(ground: Ground, doubt: CountDoubt, number: int, apart_m: float = 0.0, among: Sequence[CountDoubt] = ()) -> Picked:
    """Stops that shrink the doubt of undecided verdicts and of the map most, one after the other.

    Parameters
    ----------
    ground : Ground
        More than `MOST_CANDIDATES` places are thinned evenly.
    doubt : CountDoubt
        What the map is in doubt of.
    number : int
        How many; fewer come back where there are no more places.
    apart_m : float
        No nearer than this to a stop counted or chosen before [m].
    among : sequence of CountDoubt
        The same stops and drivers under other knots, sd, range and clumping, equally likely: a
        slope's variance is the mean over them. Without any it is that of `doubt`.

    Returns
    -------
    Picked
        `needed` goes on beyond `number` until every verdict can be given.
    """
    rows = _evenly(len(ground), MOST_CANDIDATES)
    state = _Doubts(ground.some(rows), doubt, among or (doubt,))
    free = _away_from(state.map.places_m, doubt.places_m, apart_m)
    index: list[int] = []
    reasons: list[str] = []
    slope_sd, surface_sd = [state.slope_sd()], [state.map.surface_sd()]
    while free.any() and (len(index) < number or (state.is_undecided() and len(index) < MOST_NEEDED)):
        gains = state.gains()
        row = _first_best(np.sum(list(gains.values()), axis=0), free)
        reasons.append(max(gains, key=lambda part: float(gains[part][row])))
        index.append(row)
        state.count_at(row)
        free &= _away_from(state.map.places_m, state.map.places_m[[row]], apart_m)
        free[row] = False
        slope_sd.append(state.slope_sd())
        surface_sd.append(state.map.surface_sd())
    found = np.array(slope_sd).reshape(len(slope_sd), len(doubt.drivers))
    return Picked(
        rows[np.array(index[:number], dtype=np.intp)],
        tuple(reasons[:number]),
        {driver.name: found[: number + 1, column] for column, driver in enumerate(doubt.drivers)},
        np.array(surface_sd[: number + 1]),
        {driver.name: _needed(found[:, column], driver) for column, driver in enumerate(doubt.drivers) if driver.undecided},
    )


def plan_table(ground: Ground, picked: Picked, counted_m: Floats, known_ids: Sequence[str], frames: int) -> gpd.GeoDataFrame:
    """The stops chosen, as a table for those who go and count.

    Parameters
    ----------
    ground : Ground
    picked : Picked
        Of that ground.
    counted_m : array, ``[stop, 2]``
        Where stops were counted already [m].
    known_ids : sequence of str
        Their names: a new stop gets none of them (P1, P2, ... go on behind the highest P).
    frames : int
        To lay at each position.

    Returns
    -------
    PLAN
        In the order of usefulness.
    """
    chosen = ground.some(picked.index)
    columns = {
        "stop": _names(len(chosen), known_ids),
        "rank": np.arange(1, len(chosen) + 1),
        "reason": np.array(picked.reasons, dtype=object),
        "part": _part_of_field(ground.places_m, chosen.places_m),
        "nearest_m": _nearest_before(chosen.places_m, counted_m),
        "frames": np.full(len(chosen), frames),
    }
    for name, values, here in (("speed_m_s", ground.speed, chosen.speed), ("moisture_pct", ground.moisture, chosen.moisture)):
        if values is not None and here is not None:
            columns[name] = np.asarray(here, float)
            columns[f"{name.partition('_')[0]}_rank_pct"] = _percent_below(values, here)
    return PLAN.check(gpd.GeoDataFrame(columns, geometry=shapely.points(chosen.places_m), crs=ground.crs))


class _Doubts:
    """The map's doubt and the verdicts', as stops are added to both."""

    def __init__(self, ground: Ground, doubt: CountDoubt, among: Sequence[CountDoubt]) -> None:
        self.drivers = doubt.drivers
        self.map = _Map(ground, doubt)
        self.verdicts = [_Slopes(ground, other) for other in among] if doubt.drivers else []

    def slope_sd(self) -> Floats:
        """``[driver]``."""
        return np.asarray(np.sqrt(np.maximum([self._variance(column) for column in range(len(self.drivers))], 0.0)))

    def is_undecided(self) -> bool:
        """Whether a verdict still wants counts."""
        return any(driver.undecided and self._variance(column) > driver.wanted_sd**2 for column, driver in enumerate(self.drivers))

    def gains(self) -> dict[str, Floats]:
        """By what they tell about: how much a stop at each candidate would take off the sum that is to shrink, ``[candidate]``."""
        out = {"place": self.map.gain()}
        for column, driver in enumerate(self.drivers):
            if driver.undecided:
                now = self._variance(column)
                after = now - np.mean([each.gain(column) for each in self.verdicts], axis=0)
                wanted = driver.wanted_sd**2
                out[driver.name] = max(now / wanted, 1.0) - np.maximum(after / wanted, 1.0)
        return out

    def count_at(self, row: int) -> None:
        """Take off what a stop at candidate `row` will."""
        for each in (self.map, *self.verdicts):
            each.count_at(row)

    def _variance(self, column: int) -> float:
        return float(np.mean([each.slope_variance[column] for each in self.verdicts]))


class _Slopes:
    """Posterior variances of slopes and of log loss at candidates, held up to date as stops are added.

    With ``u = cov(everything, g at the stop) / root(var g there + 1 / precision)`` a stop
    takes ``u u'`` off the covariance of everything. What each took is kept as a row of
    `taken`: first of the slopes, then of the candidates.
    """

    def __init__(self, ground: Ground, doubt: CountDoubt) -> None:
        self.doubt, self.places_m = doubt, np.asarray(ground.places_m, float)
        self.noise = 1 / doubt.stop_precision
        self.slopes = len(doubt.drivers)
        self.hinges = _design(doubt.drivers, {name: _usual(values) for name, values in ground.driven.items()}, len(ground))
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

    def gain(self, column: int) -> Floats:
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

    def _keep(self, row: Floats) -> None:
        """One more row of `taken`; room for them is doubled, since adding one by one copies all each time."""
        if self._used == len(self._store):
            self._store = np.vstack([self._store, np.empty((max(self._used, 16), len(row)))])
        self._store[self._used] = row
        self._used += 1

    def covariance(self, rows: Whole) -> Floats:
        """Prior covariance of g at candidates `rows` with g at all candidates, ``[row, candidate]``."""
        return self._covariance(self.places_m[rows], self.hinges[rows], self.places_m, self.hinges)

    def _covariance(self, one_m: Floats, one: Floats, other_m: Floats, other: Floats) -> Floats:
        process = self.doubt.sd**2 * self.doubt.correlation(cdist(one_m, other_m))
        return np.asarray(process + self.doubt.level_sd**2 + (one * self.prior) @ other.T)

    def _by_counted(self) -> Floats:
        """What the stops so far took off, one row each."""
        places_m = np.asarray(self.doubt.places_m, float).reshape(-1, 2)
        design = _design(self.doubt.drivers, {driver.name: driver.at_stops for driver in self.doubt.drivers}, len(places_m))
        among = self._covariance(places_m, design, places_m, design) + np.diag(1 / np.asarray(self.doubt.precision, float))
        everything = np.hstack([design * self.prior, self._covariance(places_m, design, self.places_m, self.hinges)])
        if not len(places_m):
            return everything
        return np.asarray(scipy.linalg.solve_triangular(np.linalg.cholesky(among), everything, lower=True))


class _Map(_Slopes):
    """The same, with the covariances of candidates with places that stand for the whole field."""

    def __init__(self, ground: Ground, doubt: CountDoubt) -> None:
        super().__init__(ground, doubt)
        self.support = _evenly(len(ground), SUPPORT)
        self.with_support = self.covariance(self.support) - self.taken[:, self.slopes + self.support].T @ self.taken[:, self.slopes :]
        self.surface_now = self.surface_sd() ** 2

    def surface_sd(self) -> float:
        """Root of the mean variance of log loss over the support."""
        return math.sqrt(max(float(self.variance[self.support].mean()), 0.0))

    def gain(self, column: int = -1) -> Floats:
        """What a stop at each candidate takes off the mean variance of log loss, as a share of what it was at first."""
        if column >= 0:
            return super().gain(column)
        return np.asarray((self.with_support**2).mean(axis=0) / (self.variance + self.noise) / self.surface_now)

    def count_at(self, row: int) -> Floats:
        """Take off what a stop at candidate `row` will."""
        places = super().count_at(row)
        self.with_support -= np.outer(places[self.support], places)
        return places


def _joined(one: Floats | None, other: Floats | None, others: int) -> Floats | None:
    if one is None:
        return None
    return np.concatenate([one, np.full(others, np.nan) if other is None else other])


def _traits(places_m: Floats, speed: Floats | None, moisture: Floats | None) -> Floats:
    """Place, speed and moisture on one scale, ``[place, 2 to 4]``."""
    # from the corner: its differences are exact, so a moved field has the same traits to the last digit
    places = np.asarray(places_m, float)
    places = places - places.min(axis=0, initial=np.inf)
    scale = float(places.std(axis=0).mean()) if len(places) else 0.0
    parts = [places / scale if scale > 0 else places * 0.0]
    parts += [_score(np.asarray(values, float))[:, None] for values in (speed, moisture) if values is not None]
    return np.hstack(parts)


def _usual(values: Floats) -> Floats:
    """Values drawn in to the field's usual ones; NaN stays."""
    if not np.isfinite(values).any():
        return values
    known = np.asarray(values, float)
    return np.asarray(np.clip(known, *np.quantile(known[np.isfinite(known)], OUTERMOST)))


def _score(values: Floats) -> Floats:
    known = np.isfinite(values)
    if not known.any():
        return np.zeros(len(values))
    within = _usual(values)
    sd = float(within[known].std())
    if sd <= 1e-9 * max(1.0, float(np.abs(within[known]).max())):
        return np.zeros(len(values))
    return np.asarray(np.nan_to_num(DRIVER_WEIGHT * (within - within[known].mean()) / sd))


def _apart(traits: Floats, at: int | Floats) -> Floats:
    """Squared distance of each row from one row, or from a place."""
    return np.asarray(((traits - (traits[at] if isinstance(at, (int, np.integer)) else at)) ** 2).sum(axis=1))


def _first_best(usefulness: Floats, free: npt.NDArray[np.bool_]) -> int:
    """The first free row that is as useful as any, up to rounding."""
    rows = np.flatnonzero(free)
    among = usefulness[rows]
    best = float(among.max())
    return int(rows[np.flatnonzero(among >= best - TIE * abs(best))[0]])


def _evenly(number: int, most: int) -> Whole:
    """Rows spread evenly over `number` of them, at most `most`, without a stride that could beat with passes."""
    if number <= most:
        return np.arange(number)
    return np.unique((np.arange(1, most + 1) * GOLDEN % 1 * number).astype(np.intp))


def _away_from(places_m: Floats, stops_m: Floats, apart_m: float) -> npt.NDArray[np.bool_]:
    if not len(stops_m) or apart_m <= 0:
        return np.ones(len(places_m), dtype=bool)
    return np.asarray(cKDTree(stops_m).query(places_m)[0] >= apart_m)


def _design(drivers: tuple[DriverDoubt, ...], values: Mapping[str, Floats], places: int) -> Floats:
    """How far each place is beyond each driver's knot, 0 where that is unknown, ``[place, driver]``."""
    design = np.zeros((places, len(drivers)))
    for column, driver in enumerate(drivers):
        if driver.name in values:
            design[:, column] = np.nan_to_num(driver.hinge.of(np.asarray(values[driver.name], float)))
    return design


def _needed(slope_sd: Floats, driver: DriverDoubt) -> int | None:
    enough = np.flatnonzero(slope_sd <= driver.wanted_sd * (1 + TIE))
    # a verdict that is not there yet takes one stop at least
    return max(1, int(enough[0])) if enough.size else None


def _names(number: int, known_ids: Sequence[str]) -> npt.NDArray[np.object_]:
    """P and a number, going on behind the highest that is in use."""
    # more digits than five are somebody's own way of naming, not a row of stops to go on with
    used = [int(match[1]) for one in known_ids if (match := re.fullmatch(r"[Pp]0*([0-9]{1,5})", one.strip()))]
    first = max(used, default=0) + 1
    return np.array([f"P{first + step}" for step in range(number)], dtype=object)


def _part_of_field(ground_m: Floats, places_m: Floats) -> npt.NDArray[np.object_]:
    """In which ninth of the field's extent: "north-west", "middle", ..."""
    low, size = ground_m.min(axis=0), np.maximum(np.ptp(ground_m, axis=0), 1e-9)
    third = np.clip(((places_m - low) / size * 3).astype(int), 0, 2)
    along, across = np.array(["west", "", "east"], dtype=object), np.array(["south", "", "north"], dtype=object)
    words = [(across[north], along[east]) for east, north in third]
    return np.array(["-".join(word for word in pair if word) or "middle" for pair in words], dtype=object)


def _nearest_before(places_m: Floats, counted_m: Floats) -> Floats:
    """Distance of each to the nearest stop counted or chosen before it [m]; NaN for the first of all."""
    out = np.full(len(places_m), np.nan)
    before = np.vstack([np.asarray(counted_m, float).reshape(-1, 2), places_m])
    first = len(before) - len(places_m)
    for row in range(len(places_m)):
        if first + row:
            out[row] = np.hypot(*(before[: first + row] - places_m[row]).T).min()
    return out


def _percent_below(values: Floats, here: Floats) -> Floats:
    """Share of the ground with a smaller value, ties half [%]; NaN where unknown."""
    known = np.sort(values[np.isfinite(values)])
    share = (np.searchsorted(known, here, "left") + np.searchsorted(known, here, "right")) / (2 * max(len(known), 1))
    return np.where(np.isfinite(here), 100 * share, np.nan)
