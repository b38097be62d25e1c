"""What a field's readings say of its moisture today and of how fast it dries."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.estimates import normal_points
from lossmap.base.farm import Reading
from lossmap.base.grid import Floats
from lossmap.drydown.moisture import Air, dried

__all__ = ["Today", "normal_scores", "today"]

#: Guesses for each season drawn, of which those that fit the readings are kept.
GUESSES = 25


@dataclass(frozen=True)
class Today:
    """A field on the morning of the plan, ``[draw]``: its moisture [%], and what its drying rate is multiplied by."""

    moisture_pct: Floats
    factor: Floats


def normal_scores(rng: np.random.Generator, draws: int) -> Floats:
    """Standard normal numbers in random order, spread evenly over their distribution."""
    return normal_points(draws)[rng.permutation(draws)]


def today(
    readings: Sequence[Reading],
    of: Air,
    first_on: datetime.date,
    day: int,
    error_pct: float,
    rate_sd: float,
    year: npt.NDArray[np.intp],
    rng: np.random.Generator,
) -> Today:
    """Draws of a field's moisture and drying rate, given its readings.

    With one reading, its error and the rate's spread are carried to today. With more, the
    guesses whose moisture on the later days fits the later readings are kept, by how well
    they fit: the field's own readings set its rate.

    Parameters
    ----------
    readings : sequence of Reading
        At least one, in order of time, none after today.
    of : Air
        Its crop's.
    first_on : date
        Day 0 of `of`.
    day : int
        Today.
    error_pct : float
        Standard error of one reading [points].
    rate_sd : float
        Log standard deviation of a field's rate.
    year : array of int, ``[draw]``
    rng : Generator
    """
    days = [(one.on - first_on).days for one in readings]
    draws = len(year)
    many = draws if len(readings) == 1 else draws * GUESSES
    factor = np.exp(rate_sd * normal_scores(rng, many))
    moisture = readings[0].moisture_pct + error_pct * normal_scores(rng, many)
    # readings lie before today, where all years are one but for days nobody recorded
    rows = np.resize(year, many)
    fit = np.zeros(many)
    for at, (later, reading) in zip(days[:-1], zip(days[1:], readings[1:], strict=True), strict=True):
        moisture = dried(moisture, factor, rows, of, at, later)[-1]
        fit -= 0.5 * ((moisture - reading.moisture_pct) / error_pct) ** 2
    if len(readings) > 1:
        kept = _kept(fit, draws, rng)
        factor, moisture, rows = factor[kept], moisture[kept], rows[kept]
    return Today(dried(moisture, factor, rows, of, days[-1], day)[-1], factor)


def _kept(fit: Floats, draws: int, rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """Rows drawn in proportion to how well they fit, at even steps of the sum, in random order."""
    weight = np.cumsum(np.exp(fit - fit.max()))
    rows = np.searchsorted(weight, (np.arange(draws) + rng.random()) / draws * weight[-1])
    return rng.permutation(np.minimum(rows, len(fit) - 1))
