"""What the ground says of a log's columns: units checked by geometry, not believed.

A combine's records lie a known distance apart on the ground. So the logged distance must
be the step between positions, the logged speed that step over the interval, the yield the
flow over the area cut. A right unit is within a few percent; the nearest wrong one is off
by two and a half times (in/cm) or more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats

__all__ = ["AGREES", "Ground", "ground_of", "ratio_of"]

#: A unit is believed when what it makes is within this share of what the ground says.
AGREES = 0.10

# Where half of the steps are longer than this, rows do not follow one another.
LONGEST_STEP_M = 15.0
EARTH_M_DEG = 111_195.0


@dataclass(frozen=True)
class Ground:
    """Medians over the moving records of a log; NaN where it does not tell.

    Attributes
    ----------
    step_m : float
        Between the positions of records that follow one another.
    interval_s : float
        By the clock.
    width_m : float
        Of a row: the header's from field.toml, or a section's where the log writes one row for each.
    rows : array of int
        Records of one reading each, in the order of harvest.
    moving : array of bool
        Which of `rows` are a step from the one before.
    """

    step_m: float
    interval_s: float
    width_m: float
    rows: npt.NDArray[np.intp]
    moving: npt.NDArray[np.bool_]

    def middle(self, values: Floats) -> float:
        """Median of a column over the moving records, zeros and gaps left out."""
        read = values[self.rows][self.moving] if self.moving.any() else values
        known = read[np.isfinite(read) & (read != 0)]
        return float(np.median(known)) if known.size else float("nan")


def ground_of(x: Floats | None, y: Floats | None, degrees: bool, seconds: Floats | None, number: Floats | None, width_m: float) -> Ground:
    """Measure the steps of a log.

    Parameters
    ----------
    x, y : array or None
        Places, in degrees or metres.
    degrees : bool
    seconds, number : array or None
        A clock and a running number, either of which orders the rows.
    width_m : float
        Header width [m], NaN where not known.
    """
    count = 0 if x is None else len(x)
    order = np.arange(count)
    for keys in (seconds, number):
        if keys is not None and np.isfinite(keys).any():
            order = np.argsort(keys, kind="stable")
            break
    if x is None or y is None or (np.isfinite(x) & np.isfinite(y)).sum() < 3:
        return Ground(np.nan, _usual_interval(seconds), width_m, order, np.zeros(len(order), dtype=bool))
    east, north = _metres(x, y) if degrees else (x, y)
    rows = _one_a_reading(order, seconds)
    # where a log writes a row for each section of the header, a row is as wide as a section
    width_m = width_m / round(len(order) / len(rows))
    step = np.hypot(np.diff(east[rows], prepend=np.nan), np.diff(north[rows], prepend=np.nan))
    moving = (step > 0.2) & (step < LONGEST_STEP_M)
    follows = moving.any() and float(np.nanmedian(step)) < LONGEST_STEP_M and _steady(step[moving])
    clock = seconds[rows] if seconds is not None else None
    return Ground(
        float(np.median(step[moving])) if follows else np.nan, _usual_interval(clock), width_m, rows, moving if follows else moving & False
    )


def ratio_of(role: str, value: float, ground: Ground, known: dict[str, float]) -> float:
    """What the ground says over what a column says (median, SI), NaN where the ground does not tell.

    Parameters
    ----------
    role : str
    value : float
        Median of the column over moving records, turned to SI by the unit on trial.
    ground : Ground
    known : dict of str to float
        Medians [SI] of the roles settled before.
    """
    interval = known.get("interval", ground.interval_s)
    distance = known.get("distance", ground.step_m)
    width = known.get("width", ground.width_m)
    speed = known.get("speed", distance / interval if interval > 0 else np.nan)
    area = speed * width
    says = {
        "distance": ground.step_m,
        "interval": ground.interval_s if np.isfinite(ground.interval_s) else ground.step_m / known.get("speed", np.nan),
        "speed": ground.step_m / interval if interval > 0 else np.nan,
        "width": ground.width_m,
        "yield": known.get("mass_flow", np.nan) / area * 10_000 if area else np.nan,
        "mass_flow": known.get("yield", np.nan) * area / 10_000,
    }
    return says.get(role, np.nan) / value if value else np.nan


def _steady(steps: Floats) -> bool:
    """Whether most steps are alike: rows out of order leap one record, then five, then three."""
    usual = float(np.median(steps))
    return float(np.mean((steps > 0.5 * usual) & (steps < 1.6 * usual))) > 0.75


def _metres(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Degrees to metres about the middle of the log: steps are right to a thousandth."""
    middle = np.radians(np.nanmedian(y))
    return (x - np.nanmedian(x)) * EARTH_M_DEG * np.cos(middle), (y - np.nanmedian(y)) * EARTH_M_DEG


def _one_a_reading(order: npt.NDArray[np.intp], seconds: Floats | None) -> npt.NDArray[np.intp]:
    """The first row of each reading, where a log writes one row for each section of the header."""
    if seconds is None or len(order) < 3:
        return order
    clock = seconds[order]
    again = np.concatenate([[False], np.diff(clock) == 0])
    return order[~again] if again.mean() > 0.5 else order


def _usual_interval(seconds: Floats | None) -> float:
    if seconds is None:
        return float("nan")
    steps = np.diff(seconds)
    steps = steps[(steps > 0.05) & (steps <= 60)]
    return float(np.median(steps)) if steps.size else float("nan")
