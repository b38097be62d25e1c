"""Places abreast of one another on neighbouring passes that ran in opposite directions: what tells how late a sensor reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from lossmap.base.grid import Floats
from lossmap.clean.track import Mask, Track, Whole, runs

__all__ = ["LEAST_PAIRS", "Pairs", "neighbour_pairs"]

#: Fewer pairs, or pairs of fewer passes, tell nothing.
LEAST_PAIRS, LEAST_PASSES = 200, 6
MOST_PAIRS = 12_000
# Neither a place nor its reading at any trial delay may lie in a pass's ramps.
MARGIN_S = 35.0
# Passes further apart than this many headers are no neighbours.
NEIGHBOURS_WITHIN = 1.5
# Records around a place among which its neighbour is looked for; most are of its own pass.
NEAREST = 48
# Cosine of the angle between courses from which they run against each other: within 18 degrees.
AGAINST = -0.95
# Slower than this [m/s] a machine has no course.
LEAST_SPEED_M_S = 0.3


@dataclass(frozen=True)
class Pairs:
    """Places on two neighbouring passes of opposite direction, abreast of one another.

    Attributes
    ----------
    here_s, there_s : array
        When each was cut, on the track's clock [s].
    here, there : array of int
        The pass of each, numbered from 0.
    passes : int
    clock_s : array
        The track's clock of every record [s].
    """

    here_s: Floats
    there_s: Floats
    here: Whole
    there: Whole
    passes: int
    clock_s: Floats

    def enough(self) -> bool:
        """Whether there is anything to compare."""
        return self.here_s.size >= LEAST_PAIRS and np.unique(self.here).size >= LEAST_PASSES


def neighbour_pairs(track: Track, pass_id: Whole, width_m: float) -> Pairs:
    """Find places abreast on neighbouring passes that ran against each other.

    Parameters
    ----------
    track : Track
    pass_id : array of int
        -1 where not working.
    width_m : float
        The header's; passes further apart than one and a half of it are no neighbours.
    """
    clock = _clock(track)
    course = _course(track, pass_id, clock)
    east, north, speed = course
    every = np.flatnonzero(_inner(clock, pass_id) & np.isfinite(track.easting_m) & (speed > LEAST_SPEED_M_S))
    none = Pairs(*(np.zeros(0), np.zeros(0), np.zeros(0, np.intp), np.zeros(0, np.intp)), 0, clock)
    if every.size < LEAST_PAIRS:
        return none
    places = np.column_stack([track.easting_m, track.northing_m])
    here, there = _abreast(places, course, pass_id, every, NEIGHBOURS_WITHIN * width_m)
    if not here.size:
        return none
    # the neighbour's nearest record is a little ahead of or behind the place: its own time is that much off
    ahead = np.einsum("ij,ij->i", places[here] - places[there], np.column_stack([east[there], north[there]]))
    numbers = np.unique(pass_id[every], return_inverse=True)[1]
    number = np.full(len(pass_id), -1, dtype=np.intp)
    number[every] = numbers
    return Pairs(clock[here], clock[there] + ahead / speed[there], number[here], number[there], int(numbers.max()) + 1, clock)


def _abreast(places: Floats, course: tuple[Floats, Floats, Floats], pass_id: Whole, every: Whole, within_m: float) -> tuple[Whole, Whole]:
    """Records, each with the nearest one of a neighbouring pass that ran against it: on its left, then on its right."""
    east, north, _ = course
    tree = cKDTree(places[every])
    # a place has a neighbour on each side, so half as many places as pairs are wanted
    rows = every[np.linspace(0, every.size - 1, min(every.size, MOST_PAIRS // 2)).astype(int)]
    away, near = tree.query(places[rows], k=min(NEAREST, every.size), distance_upper_bound=within_m)
    other = every[np.minimum(near, every.size - 1)]
    against = east[rows, None] * east[other] + north[rows, None] * north[other] < AGAINST
    fits = np.isfinite(away) & (pass_id[other] != pass_id[rows, None]) & against
    beside = places[other] - places[rows, None]
    left = beside[..., 1] * east[rows, None] - beside[..., 0] * north[rows, None] > 0
    here, there = (np.concatenate(side) for side in zip(*(_nearest(fits & side, rows, other) for side in (left, ~left)), strict=True))
    return here, there


def _nearest(fits: Mask, rows: Whole, other: Whole) -> tuple[Whole, Whole]:
    """Each record that has a fitting neighbour, and the nearest one."""
    found = fits.any(axis=1)
    return rows[found], other[found, fits[found].argmax(axis=1)]


def _clock(track: Track) -> Floats:
    """Seconds since the first record, on one line for all logs; a log starts long after the one before."""
    return np.cumsum(np.where(track.starts, 1_000.0, track.passed_s))


def _inner(clock: Floats, pass_id: Whole) -> Mask:
    """Records further than the margin from both ends of their pass."""
    run = runs(pass_id)
    begins = np.flatnonzero(np.diff(run, prepend=-1))
    first = clock[begins][run]
    last = clock[np.append(begins[1:] - 1, len(pass_id) - 1)][run]
    return np.asarray((pass_id >= 0) & (clock - first >= MARGIN_S) & (last - clock >= MARGIN_S))


def _course(track: Track, pass_id: Whole, clock: Floats) -> tuple[Floats, Floats, Floats]:
    """Unit vector of the course (east, north) and speed [m/s], over the records before and after."""
    east, north, speed = (np.zeros(len(clock)) for _ in range(3))
    step_east, step_north = track.easting_m[2:] - track.easting_m[:-2], track.northing_m[2:] - track.northing_m[:-2]
    length = np.hypot(step_east, step_north)
    good = (pass_id[2:] == pass_id[:-2]) & (length > 0)
    safe = np.where(good, length, 1.0)
    east[1:-1], north[1:-1] = np.where(good, step_east / safe, 0.0), np.where(good, step_north / safe, 0.0)
    speed[1:-1] = np.where(good, length / np.maximum(clock[2:] - clock[:-2], 1e-9), 0.0)
    return east, north, np.nan_to_num(speed)
