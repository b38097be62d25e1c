"""Working or not, passes, their ends, and sudden changes of speed (never its level)."""

from __future__ import annotations

import numpy as np

from lossmap.base.grid import Floats
from lossmap.clean.track import WANDER_M, Mask, Track, Whole, runs

__all__ = ["passes", "ramps", "speed_changes"]

# Gaps of the clock and logged intervals longer than so many usual ones are pauses. The limit goes with the
# log's interval: a fixed one eats 3 s logs or misses pauses in 1 s logs.
PAUSE_GAPS, PAUSE_INTERVALS = 2.5, 4.0
# A course is told over at least so many metres, of at most so many records: over less, a fix's wander looks like a turn.
CHORD_M, MOST_RECORDS = 6.0, 12


def passes(track: Track, working: Mask, jump_speed_m_s: float, turn_deg: float) -> Whole:
    """Number of the pass each record belongs to, -1 while not working.

    A pass ends where the log pauses, the machine stops working, the position jumps or the
    course turns by more than `turn_deg` within a few records.
    """
    usual = float(np.median(track.interval_s[working])) if working.any() else 1.0
    with np.errstate(invalid="ignore"):
        pause = (track.gap_s > PAUSE_GAPS * usual) | (track.interval_s > PAUSE_INTERVALS * usual)
        leap = track.step_m > jump_speed_m_s * track.interval_s + WANDER_M
    stopped = np.ones(len(working), dtype=bool)
    stopped[1:] = ~working[:-1]
    breaks = track.starts | pause | leap | stopped
    turning = _turning(track, np.cumsum(breaks), turn_deg)
    # the records of a turn are one short piece between two passes
    breaks[1:] |= turning[1:] != turning[:-1]
    return np.where(working, np.cumsum(breaks), -1)


def _turning(track: Track, piece: Whole, turn_deg: float) -> Mask:
    """Records at which the course over the next records differs from that over the last ones, within one piece."""
    usual = float(np.nanmedian(track.step_m)) if np.isfinite(track.step_m).any() else 1.0
    span = int(np.clip(np.ceil(CHORD_M / max(usual, 0.1)), 1, MOST_RECORDS))
    x, y = track.easting_m, track.northing_m
    turning = np.zeros(len(x), dtype=bool)
    if len(x) <= 2 * span:
        return turning
    here = slice(span, -span)
    before = np.arctan2(x[here] - x[: -2 * span], y[here] - y[: -2 * span])
    after = np.arctan2(x[2 * span :] - x[here], y[2 * span :] - y[here])
    one_piece = piece[: -2 * span] == piece[2 * span :]
    with np.errstate(invalid="ignore"):
        turning[here] = one_piece & (np.abs(np.angle(np.exp(1j * (after - before)))) > np.radians(turn_deg))
    return turning


def ramps(track: Track, pass_id: Whole, start_s: Floats | float, end_s: Floats | float, shortest_s: float) -> tuple[Mask, Mask, Mask]:
    """Records of short passes, of passes' first seconds and of their last (one length for all, or one a record).

    Returns
    -------
    (short, start, end) : arrays of bool
    """
    run = runs(pass_id)
    clock, count = np.cumsum(track.interval_s), int(run[-1]) + 1 if run.size else 0
    first, last = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(first, run, clock - track.interval_s)
    np.maximum.at(last, run, clock)
    on = pass_id >= 0
    # half an interval of grace: a record of 3 s stands for all of its 3 s
    grace = 0.5 * track.interval_s
    short = on & ((last - first)[run] < shortest_s)
    start = on & (clock - first[run] <= start_s + grace) & (np.asarray(start_s) > 0)
    end = on & (last[run] - clock + track.interval_s <= end_s + grace) & (np.asarray(end_s) > 0)
    return short, start, end


def speed_changes(speed_m_s: Floats, pass_id: Whole, change_pct: float) -> Mask:
    """Records whose speed differs from the one before, in the same pass, by more than `change_pct`.

    Change, not level: at a change the area follows at once and the flow seconds later. A
    steady fast pass is evidence of how loss goes with speed and is never refused here.
    """
    before = np.full(len(speed_m_s), np.nan)
    before[1:] = np.where(pass_id[1:] == pass_id[:-1], speed_m_s[:-1], np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((np.abs(speed_m_s / before - 1.0) > change_pct / 100.0) & (pass_id >= 0))
