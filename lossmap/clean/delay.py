"""How late a sensor reads, from passes that ran side by side in opposite directions, and the mending of it.

Grain takes seconds from the knife to the sensor, so a reading stands where the combine
was that much later. Going north the pattern of the field is pushed north, coming back it
is pushed south: neighbouring passes of opposite direction disagree by twice the delay,
and agree best when both are moved back by the right one (minimum of the mean squared
difference, which is the semivariance at one header's lag: Chung, Sudduth, Drummond 2002,
Trans. ASAE 45:915-926). Passes that all run one way carry no such signal.

Differences are taken at the same places (`lossmap.clean.pairs`) for every trial delay, well
inside passes, with each pass's straight line in time removed; doubt comes from drawing passes anew.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from lossmap.base.estimates import Delay
from lossmap.base.grid import Floats
from lossmap.clean.pairs import LEAST_PAIRS, Pairs
from lossmap.clean.track import Mask, Track, Whole
from lossmap.clean.values import robust_sd

__all__ = ["as_set", "earlier", "estimated"]

# Trial delays [s]: loggers that shifted too much read early, slow elevators are 20 s late.
TRIALS = np.arange(-15.0, 31.0)

# Beside what drawing passes anew shows: delays of 8 and 20 s planted in 20 fields came back with an sd of 0.35 to 0.42 s.
METHOD_ERROR_S = 0.6

# Standard deviation of the smoothing along the pass [records].
SMOOTHED_OVER = 1.5
# Fields drawn anew for the interval.
DRAWS = 200

# A shift is worth making when it is longer than this, its interval leaves out zero, and it
# takes away this share of what neighbours differ by. Loggers shift flow themselves: what
# is left in open logs is within 2.5 s either way.
LEAST_SHIFT_S, LEAST_GAIN = 3.0, 0.05

# A wider interval has the curve's other minima in it.
WIDEST_S = 10.0


def estimated(values: Floats, pairs: Pairs, usable: Mask, interval_s: float, key: str) -> Delay:
    """How late `values` are, with a 90 % interval, and whether moving them is clearly worth it.

    Parameters
    ----------
    values : array
        The column in the order of harvest; NaN where it says nothing.
    pairs : Pairs
    usable : array of bool
        Records whose value counts.
    interval_s : float
        The log's usual interval [s].
    key : str
        The setting that overrides, for the note.
    """
    known = usable & np.isfinite(values)
    if not pairs.enough():
        return Delay(
            0.0,
            math.nan,
            math.nan,
            False,
            f"not identifiable: too few neighbouring passes ran in opposite directions (set {key} if you know it)",
        )
    if known.sum() < LEAST_PAIRS or robust_sd(values[known]) == 0:
        return Delay(0.0, math.nan, math.nan, False, "not identifiable: the column does not vary")
    apart = _differences(values, pairs, known)
    curve = apart.sum(axis=0)
    best = _minimum(curve)
    drawn = _redrawn(apart)
    low, high = (best + _wider(float(np.quantile(drawn, level)) - best) for level in (0.05, 0.95))
    at_zero = curve[np.argmin(np.abs(TRIALS))]
    gain = 1.0 - curve.min() / at_zero if at_zero > 0 else 0.0
    clear = bool(low > 0 or high < 0) and bool(gain >= LEAST_GAIN) and high - low < WIDEST_S
    applied = clear and abs(best) > max(LEAST_SHIFT_S, interval_s)
    tried = tuple(zip(TRIALS.tolist(), (curve / at_zero).round(4).tolist(), strict=True)) if at_zero > 0 else ()
    return Delay(best, low, high, applied, _said(best, gain, low, high, applied, key), tried)


def as_set(seconds: float, key: str) -> Delay:
    """The delay that a setting states."""
    return Delay(seconds, math.nan, math.nan, seconds != 0, f"as set by {key}")


def earlier(values: Floats, track: Track, seconds: float) -> Floats:
    """A column as it would stand had the sensor read `seconds` sooner; NaN past a log's end.

    Read off the log's own clock by straight lines between records, gaps in the column left out.
    """
    if seconds == 0:
        return values
    out, passed = np.full(len(values), np.nan), track.passed_s
    edges = np.append(np.flatnonzero(track.starts), len(values))
    for first, last in itertools.pairwise(edges):
        clock = np.cumsum(passed[first:last])
        known = np.isfinite(values[first:last])
        if known.any():
            out[first:last] = np.interp(clock + seconds, clock[known], values[first:last][known], left=np.nan, right=np.nan)
    return out


def _differences(values: Floats, pairs: Pairs, known: Mask) -> Floats:
    """Squared differences of the pairs at each trial delay, summed over each pass, ``[pass, trial]``."""
    curve = _smooth_curve(pairs.clock_s[known], values[known])
    most = (4 * robust_sd(values[known])) ** 2
    when, number = np.concatenate([pairs.here_s, pairs.there_s]), np.concatenate([pairs.here, pairs.there])
    out = np.zeros((pairs.passes, TRIALS.size))
    for trial, seconds in enumerate(TRIALS):
        here, there = np.split(_without_lines(curve(when + seconds), when, number, pairs.passes), 2)
        # one wild reading must not decide: differences beyond four spreads count as four
        out[:, trial] = np.bincount(pairs.here, np.minimum((here - there) ** 2, most), pairs.passes)
    return out


def _smooth_curve(clock_s: Floats, values: Floats) -> CubicSpline:
    """The readings as a curve in time, without the noise from record to record.

    Straight lines between noisy records are quieter half-way than at the records, which
    makes a false minimum half a record beside the true delay; a smoothed series read off
    by a spline is equally quiet everywhere.
    """
    forward = np.concatenate([[True], np.diff(clock_s) > 1e-6])
    return CubicSpline(clock_s[forward], gaussian_filter1d(values, SMOOTHED_OVER)[forward])


def _without_lines(read: Floats, when: Floats, number: Whole, passes: int) -> Floats:
    """Readings less each pass's own straight line in time.

    A level is a pass's own, and a slope may be grain drying while it is cut: neither is a
    pattern on the ground. At the true delay both passes of a pair lose the same pattern.
    """
    count = np.maximum(np.bincount(number, minlength=passes), 1)
    mean_when, mean_read = (np.bincount(number, part, passes) / count for part in (when, read))
    along, across = when - mean_when[number], read - mean_read[number]
    scatter = np.bincount(number, along**2, passes)
    slope = np.bincount(number, along * across, passes) / np.where(scatter > 0, scatter, 1.0)
    return across - slope[number] * along


def _redrawn(apart: Floats) -> Floats:
    """The best delay for each of many fields whose passes are drawn anew from this one's."""
    some = apart[apart.any(axis=1)]
    rng = np.random.default_rng(len(some))
    weight = rng.multinomial(len(some), np.full(len(some), 1 / len(some)), size=DRAWS)
    return np.array([_minimum(curve) for curve in weight @ some])


def _wider(side: float) -> float:
    """One side of the interval with the method's own error in it."""
    return math.copysign(math.hypot(side, METHOD_ERROR_S), side)


def _minimum(curve: Floats) -> float:
    """Where the curve is least, between trials by a parabola through the three lowest."""
    lowest = int(np.argmin(curve))
    if lowest in (0, len(curve) - 1):
        return float(TRIALS[lowest])
    before, here, after = curve[lowest - 1 : lowest + 2]
    bend = before - 2 * here + after
    return float(TRIALS[lowest] + (0.5 * (before - after) / bend if bend > 0 else 0.0) * (TRIALS[1] - TRIALS[0]))


def _said(best: float, gain: float, low: float, high: float, applied: bool, key: str) -> str:
    gained = f"neighbouring passes agree {100 * gain:.0f} % better at {best:.1f} s"
    if applied:
        return f"{gained}: moved"
    if high - low >= WIDEST_S:
        return f"not identifiable: passes agree about as well at many delays (set {key} if you know it)"
    if low <= 0 <= high:
        return "no delay to be seen"
    if gain >= LEAST_GAIN:
        return f"{gained}: too little to move (the logger may have moved it already)"
    return f"{gained}: not clear enough to move (set {key} if you know it)"
