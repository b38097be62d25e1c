"""Stops after a first round: one after the other, the place that shrinks most of what is in doubt.

That is the sum

    sum over undecided drivers k of max(var slope_k / wanted_k^2, 1)  +  mean var g / mean var g now,

g being log loss: a verdict that is far from decided outweighs the map, one that is decided
asks for nothing more, and the rest goes to the map. What any further stop will do to every
variance is known before it is counted (`posterior`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from lossmap.base.grid import Floats
from lossmap.base.logloss import CountDoubt, DriverDoubt
from lossmap.stops.ground import TIE, Ground, Picked, evenly, first_best
from lossmap.stops.posterior import MapPosterior, Posterior

__all__ = ["MOST_NEEDED", "next_stops"]

#: More candidates than this are thinned evenly: between them, places tell alike.
MOST_CANDIDATES = 4000
#: Further stops beyond which "how many are needed" is answered with "more than that".
MOST_NEEDED = 100


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
    rows = evenly(len(ground), MOST_CANDIDATES)
    candidates = ground.some(rows)
    state = _Doubts(candidates, doubt, among or (doubt,))
    free = _away_from(candidates.places_m, doubt.places_m, apart_m)
    index: list[int] = []
    reasons: list[str] = []
    slope_sd, surface_sd = [state.slope_sd()], [state.map.surface_sd()]
    while free.any() and (len(index) < number or (state.is_undecided() and len(index) < MOST_NEEDED)):
        gains = state.gains()
        row = first_best(np.sum(list(gains.values()), axis=0), free)
        reasons.append(max(gains, key=lambda part: float(gains[part][row])))
        index.append(row)
        state.count_at(row)
        free &= _away_from(candidates.places_m, candidates.places_m[[row]], apart_m)
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


def _away_from(places_m: Floats, stops_m: Floats, apart_m: float) -> npt.NDArray[np.bool_]:
    """Whether each place is as far from all stops as it must be."""
    if not len(stops_m) or apart_m <= 0:
        return np.ones(len(places_m), dtype=bool)
    return np.asarray(cKDTree(stops_m).query(places_m)[0] >= apart_m)


def _needed(slope_sd: Floats, driver: DriverDoubt) -> int | None:
    """Stops until the slope is sure enough, of those for which its sd was worked out."""
    enough = np.flatnonzero(slope_sd <= driver.wanted_sd * (1 + TIE))
    # a verdict that is not there yet takes one stop at least
    return max(1, int(enough[0])) if enough.size else None


class _Doubts:
    """The map's doubt and the verdicts', as stops are added to both."""

    def __init__(self, candidates: Ground, doubt: CountDoubt, among: Sequence[CountDoubt]) -> None:
        self.drivers = doubt.drivers
        self.map = MapPosterior(candidates, doubt)
        self.verdicts = [Posterior(candidates, other) for other in among] if doubt.drivers else []

    def slope_sd(self) -> Floats:
        """Of each driver's slope, ``[driver]``."""
        return np.asarray(np.sqrt(np.maximum([self._variance(column) for column in range(len(self.drivers))], 0.0)))

    def is_undecided(self) -> bool:
        """Whether a verdict still wants counts."""
        return any(driver.undecided and self._variance(column) > driver.wanted_sd**2 for column, driver in enumerate(self.drivers))

    def gains(self) -> dict[str, Floats]:
        """By what they tell about: how much a stop at each candidate would take off the sum that is to shrink, ``[candidate]``."""
        out = {"place": self.map.surface_gain()}
        for column, driver in enumerate(self.drivers):
            if driver.undecided:
                now = self._variance(column)
                after = now - np.mean([each.slope_gain(column) for each in self.verdicts], axis=0)
                wanted = driver.wanted_sd**2
                out[driver.name] = max(now / wanted, 1.0) - np.maximum(after / wanted, 1.0)
        return out

    def count_at(self, row: int) -> None:
        """Take off what a stop at candidate `row` will."""
        for each in (self.map, *self.verdicts):
            each.count_at(row)

    def _variance(self, column: int) -> float:
        return float(np.mean([each.slope_variance[column] for each in self.verdicts]))
