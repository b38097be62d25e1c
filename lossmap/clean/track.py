"""A log as a path: records in the order of harvest, and the steps between them."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats

__all__ = ["NO_CLOCK_M_S", "WANDER_M", "Mask", "Track", "Whole", "runs", "track_of"]

#: Where a log has no clock, seconds are metres by this speed (common practice, no source).
NO_CLOCK_M_S = 2.0
#: How far a fix wanders by itself [m], on top of what can be driven (common practice, no source).
WANDER_M = 3.0
# A longer gap of the clock [s] is a pause, not an interval.
LONGEST_INTERVAL_S = 60.0
# A step of so many records, or of so many metres where the log does not say how long one is, is a leap.
LEAP_RECORDS, LEAP_M = 3.0, 20.0
# Rows of which so many are a leap apart do not follow one another.
LEAPS_OF_A_SHUFFLED_LOG = 0.2

Whole = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Track:
    """The records of all logs of a field, one after the other, each log in the order of harvest.

    All arrays have one value a record, in that order; `order` gives the row of the table
    each came from.

    Attributes
    ----------
    order : array of int
    starts : array of bool
        First record of a log or machine: nothing before it belongs to it.
    easting_m, northing_m : array
    step_m : array
        From the record before, NaN at starts.
    interval_s : array
        Time since the record before, logged or by the clock; the log's usual one where unknown.
    gap_s : array
        The same by the clock where there is one: tells a pause that a logged interval hides.
    distance_m : array
        Driven since the record before: as logged where it agrees with the step, else the step.
    clock : bool
        Whether intervals are real, or made from distance at `NO_CLOCK_M_S`.
    ordered : bool
        Whether rows follow one another on the ground; if not, passes cannot be told.
    """

    order: Whole
    starts: Mask
    easting_m: Floats
    northing_m: Floats
    step_m: Floats
    interval_s: Floats
    gap_s: Floats
    distance_m: Floats
    clock: bool
    ordered: bool

    @property
    def passed_s(self) -> Floats:
        """Time since the record before [s], a pause that a logged interval hides in it."""
        return np.fmax(self.interval_s, np.nan_to_num(self.gap_s))


def track_of(points: gpd.GeoDataFrame, places_known: Mask) -> Track:
    """Put the records of a POINTS table in the order of harvest.

    Parameters
    ----------
    points : POINTS
        In a metric crs.
    places_known : array of bool
        Records whose position can be used; steps to and from the others are NaN.
    """
    order = _order(points)
    log = points["log"].to_numpy()[order]
    machine = points["machine"].to_numpy()[order]
    starts = np.ones(len(order), dtype=bool)
    starts[1:] = (log[1:] != log[:-1]) | (machine[1:] != machine[:-1])
    easting = np.where(places_known, points.geometry.x.to_numpy(), np.nan)[order]
    northing = np.where(places_known, points.geometry.y.to_numpy(), np.nan)[order]
    step = np.hypot(np.diff(easting, prepend=np.nan), np.diff(northing, prepend=np.nan))
    step[starts] = np.nan
    logged = _column(points, "distance_m", order)
    distance = _distance(logged, step)
    gap, interval, clock = _intervals(points, order, starts, distance)
    return Track(order, starts, easting, northing, step, interval, gap, distance, clock, _follows(step, logged))


def runs(values: npt.NDArray[np.generic]) -> Whole:
    """Running number, from 0, of the stretch of equal values that each record is in; what is NaN equals nothing."""
    changes = np.ones(len(values), dtype=bool)
    changes[1:] = values[1:] != values[:-1]
    return np.cumsum(changes) - 1


def _order(points: gpd.GeoDataFrame) -> Whole:
    """By log, machine, then the clock; without one by the running number, else as the rows stand."""
    rows = np.arange(len(points))
    machine = points["machine"].astype("category").cat.codes.to_numpy()
    keys: list[npt.NDArray[np.generic]] = [rows]
    if "record" in points:
        keys.append(points["record"].to_numpy(dtype=float))
    if "time" in points:
        when = points["time"].astype("int64").to_numpy(dtype=np.int64)
        keys.append(np.where(points["time"].isna(), np.iinfo(np.int64).max, when))
    return np.lexsort((*keys, machine, points["log"].to_numpy()))


def _column(points: gpd.GeoDataFrame, name: str, order: Whole) -> Floats:
    return points[name].to_numpy(dtype=float)[order] if name in points else np.full(len(points), np.nan)


def _distance(logged: Floats, step: Floats) -> Floats:
    """Logged distance, but the step where the two disagree by more than twice and the step is an ordinary one.

    The wheel knows better than two fixes; a glitch of the wheel does not; and a long step
    over a turn that was not logged says nothing about the swath.
    """
    usual = float(np.nanmedian(step)) if np.isfinite(step).any() else np.nan
    with np.errstate(invalid="ignore", divide="ignore"):
        ordinary = (step > 0.5 * usual) & (step < 2.0 * usual)
        disagree = (logged > 2.0 * step) | (logged < 0.5 * step) | np.isnan(logged)
    out = np.where(ordinary & disagree, step, logged)
    return np.where(np.isnan(out), usual, out)


def _intervals(points: gpd.GeoDataFrame, order: Whole, starts: Mask, distance: Floats) -> tuple[Floats, Floats, bool]:
    logged = _column(points, "interval_s", order)
    speed = _column(points, "speed_m_s", order)
    with np.errstate(invalid="ignore", divide="ignore"):
        logged = np.where(np.isnan(logged) & (speed > 0.1), distance / speed, logged)
    gap = np.full(len(order), np.nan)
    if "time" in points:
        when = points["time"].to_numpy(dtype="datetime64[ns]")[order]
        gap[1:] = np.diff(when) / np.timedelta64(1, "s")
        gap[starts] = np.nan
    known = np.where(logged > 0, logged, np.where((gap > 0) & (gap <= LONGEST_INTERVAL_S), gap, np.nan))
    if not np.isfinite(known).any():
        return gap, distance / NO_CLOCK_M_S, False
    return gap, np.where(np.isnan(known), np.nanmedian(known), known), True


def _follows(step: Floats, logged: Floats) -> bool:
    """Whether rows follow one another on the ground: not if one step in five is a leap or several records long."""
    known = np.isfinite(step)
    if not known.any():
        return True
    reach = LEAP_RECORDS * float(np.nanmedian(logged)) if np.isfinite(logged).any() else LEAP_M
    return float(np.mean(step[known] > reach)) < LEAPS_OF_A_SHUFFLED_LOG
