"""Readings that come late, moved back to where they belong."""

from __future__ import annotations

import math

import numpy as np

from lossmap.base.estimates import Delay
from lossmap.base.grid import Floats
from lossmap.clean.track import Track

__all__ = ["as_set", "earlier"]


def earlier(values: Floats, track: Track, seconds: float) -> Floats:
    """A column as it would stand had the sensor read `seconds` sooner; NaN past a log's end.

    Read off the log's own clock by straight lines between records, gaps in the column left out.
    """
    if seconds == 0:
        return values
    out = np.full(len(values), np.nan)
    edges = np.append(np.flatnonzero(track.starts), len(values))
    for first, last in zip(edges[:-1], edges[1:], strict=True):
        clock = np.cumsum(np.fmax(track.interval_s[first:last], np.nan_to_num(track.gap_s[first:last])))
        known = np.isfinite(values[first:last])
        if known.any():
            out[first:last] = np.interp(clock + seconds, clock[known], values[first:last][known], left=np.nan, right=np.nan)
    return out


def as_set(seconds: float, key: str) -> Delay:
    """The delay that a setting states, or none."""
    note = f"as set by {key}" if seconds else f"none set ({key}); not estimated"
    return Delay(seconds, math.nan, math.nan, bool(seconds), note)
