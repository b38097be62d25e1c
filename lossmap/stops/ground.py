"""Where a stop may be, which places are taken, and the rules of choosing that every way of choosing keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pyproj

from lossmap.base.grid import Floats

__all__ = ["TIE", "Ground", "Picked", "Whole", "evenly", "first_best", "usual"]

Whole = npt.NDArray[np.intp]

#: Usefulness that differs by less is one: which of two equal places is taken must not hang on the last digit.
TIE = 1e-9
#: Speeds and moistures beyond these parts of the field's own pull no further: a record or two, not ground one can count on.
OUTERMOST = (0.005, 0.995)
#: Steps round a circle that visit any number of places evenly (the golden ratio's fraction).
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

    @property
    def driven(self) -> dict[str, Floats]:
        """What is known of each driver, ``speed`` first."""
        both = {"speed": self.speed, "dryness": self.moisture}
        return {name: values for name, values in both.items() if values is not None}

    def some(self, rows: Whole) -> Ground:
        """The places of `rows` alone."""
        return Ground(self.crs, self.places_m[rows], *(None if part is None else part[rows] for part in (self.speed, self.moisture)))

    def beside(self, other: Ground) -> Ground:
        """These places and, behind them, the other's; what only these know is NaN for the other, what only the other knows is left out."""
        return Ground(
            self.crs,
            np.vstack([self.places_m, other.places_m]),
            _joined(self.speed, other.speed, len(other)),
            _joined(self.moisture, other.moisture, len(other)),
        )


def _joined(one: Floats | None, other: Floats | None, others: int) -> Floats | None:
    if one is None:
        return None
    return np.concatenate([one, np.full(others, np.nan) if other is None else other])


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


def usual(values: Floats) -> Floats:
    """Values drawn in to the field's usual ones; NaN stays."""
    if not np.isfinite(values).any():
        return values
    known = np.asarray(values, float)
    return np.asarray(np.clip(known, *np.quantile(known[np.isfinite(known)], OUTERMOST)))


def first_best(usefulness: Floats, free: npt.NDArray[np.bool_]) -> int:
    """The first free row that is as useful as any, up to rounding."""
    rows = np.flatnonzero(free)
    among = usefulness[rows]
    best = float(among.max())
    return int(rows[np.flatnonzero(among >= best - TIE * abs(best))[0]])


def evenly(number: int, most: int) -> Whole:
    """Rows spread evenly over `number` of them, at most `most`, without a stride that could beat with passes."""
    if number <= most:
        return np.arange(number)
    return np.unique((np.arange(1, most + 1) * GOLDEN % 1 * number).astype(np.intp))
