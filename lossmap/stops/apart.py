"""Stops before any count: one after the other, the place that is farthest from all so far.

Far is meant in (x, y, 0.7 speed, 0.7 moisture), each by its own standard deviation: apart in
place for the map, in ground speed and moisture for the verdicts.
"""

from __future__ import annotations

import numpy as np

from lossmap.base.grid import Floats
from lossmap.stops.ground import Ground, Picked, Whole, first_best, usual

__all__ = ["farthest", "spread"]

#: How much a standard deviation of speed or moisture weighs against one of place.
DRIVER_WEIGHT = 0.7


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
        away = np.minimum(away, _apart(traits, traits[row]))
    for _ in range(min(number, int(free.sum()))):
        # where nothing is taken every place is infinitely far: the first is the one in the middle of all
        usefulness = away if have.size or chosen else -_apart(traits, traits.mean(axis=0))
        row = first_best(usefulness, free)
        chosen.append(row)
        free[row] = False
        away = np.minimum(away, _apart(traits, traits[row]))
    return np.array(chosen, dtype=np.intp)


def _traits(places_m: Floats, speed: Floats | None, moisture: Floats | None) -> Floats:
    """Place, speed and moisture on one scale, ``[place, 2 to 4]``."""
    # from the corner: its differences are exact, so a moved field has the same traits to the last digit
    places = np.asarray(places_m, float)
    places = places - places.min(axis=0, initial=np.inf)
    scale = float(places.std(axis=0).mean()) if len(places) else 0.0
    parts = [places / scale if scale > 0 else places * 0.0]
    parts += [_score(np.asarray(values, float))[:, None] for values in (speed, moisture) if values is not None]
    return np.hstack(parts)


def _score(values: Floats) -> Floats:
    """A driver in standard deviations from its mean, weighed; 0 where unknown, and for all where it never changes."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros(len(values))
    within = usual(values)
    sd = float(within[known].std())
    if sd <= 1e-9 * max(1.0, float(np.abs(within[known]).max())):
        return np.zeros(len(values))
    return np.asarray(np.nan_to_num(DRIVER_WEIGHT * (within - within[known].mean()) / sd))


def _apart(traits: Floats, at: Floats) -> Floats:
    """Squared distance of each row from one."""
    return np.asarray(((traits - at) ** 2).sum(axis=1))
