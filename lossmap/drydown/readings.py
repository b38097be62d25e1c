"""What a field's readings say of its moisture today and of how fast it dries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.estimates import normal_points
from lossmap.base.farm import Reading
from lossmap.base.grid import Floats
from lossmap.base.rank_settings import DoubtSettings
from lossmap.drydown.moisture import Air, dried
from lossmap.drydown.weather import Seasons

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
    weather: Seasons,
    of: Air,
    doubt: DoubtSettings,
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
    weather : Seasons
        Which day is today, and which day 0.
    of : Air
        What that weather does to its crop.
    doubt : DoubtSettings
        Standard error of one reading, and of a field's own drying rate.
    year : array of int, ``[draw]``
        Row of the weather that each draw meets.
    rng : Generator
    """
    days = [(one.on - weather.first_on).days for one in readings]
    error_pct, draws = doubt.moisture_error_pct, len(year)
    many = draws if len(readings) == 1 else draws * GUESSES
    factor = np.exp(doubt.drying / 100 * normal_scores(rng, many))
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
    return Today(dried(moisture, factor, rows, of, days[-1], weather.today)[-1], factor)


def _kept(fit: Floats, draws: int, rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """Rows drawn in proportion to how well they fit, at even steps of the sum, in random order."""
    weight = np.cumsum(np.exp(fit - fit.max()))
    rows = np.searchsorted(weight, (np.arange(draws) + rng.random()) / draws * weight[-1])
    return rng.permutation(np.minimum(rows, len(fit) - 1))
