"""Positions that cannot be, records written twice, one reading written once for each header section."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.grid import Floats
from lossmap.clean.track import WANDER_M, Mask, Track

__all__ = ["collapsed_sections", "duplicates", "jumps", "known_places"]

# A field is smaller than this; a record further from the middle of its log is a lost fix.
FARTHEST_M = 10_000.0
# Closer than this a place is written twice.
SAME_PLACE_M = 0.01
# A log of sections repeats at least so many of its rows.
SECTIONED = 0.5


def known_places(points: gpd.GeoDataFrame) -> Mask:
    """Records with a position on the field, in the order of the table."""
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    finite: Mask = np.isfinite(x) & np.isfinite(y)
    if not finite.any():
        return finite
    away = np.hypot(x - np.median(x[finite]), y - np.median(y[finite]))
    return np.asarray(finite & (away < FARTHEST_M))


def jumps(track: Track, jump_speed_m_s: float) -> Mask:
    """Single records thrown aside: too far from both neighbours, which lie near each other.

    A jump that stays (a pause, a new pass) is no fault of a record: it only starts a pass.
    """
    x, y = track.easting_m, track.northing_m
    reach = jump_speed_m_s * track.passed_s + WANDER_M
    far_in = track.step_m > reach
    far_out = np.append(far_in[1:], False)
    over = np.full(len(x), np.nan)
    over[1:-1] = np.hypot(x[2:] - x[:-2], y[2:] - y[:-2])
    both = np.append(reach[1:], 0.0) + reach
    with np.errstate(invalid="ignore"):
        return np.asarray(far_in & far_out & (over < both))


def duplicates(points: gpd.GeoDataFrame, track: Track) -> Mask:
    """Records that repeat the place and time of the one before them (without a clock: place and values)."""
    same = track.step_m < SAME_PLACE_M
    if np.isfinite(track.gap_s).any():
        return np.asarray(same & ~(track.gap_s > 0))
    measured = [name for name in ("mass_flow_kg_s", "yield_kg_ha", "moisture_pct", "distance_m") if name in points]
    for name in measured:
        values = points[name].to_numpy(dtype=float)[track.order]
        again = np.zeros(len(values), dtype=bool)
        again[1:] = (values[1:] == values[:-1]) | (np.isnan(values[1:]) & np.isnan(values[:-1]))
        same = same & again
    return np.asarray(same)


def collapsed_sections(points: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, Mask]:
    """Rows that repeat one reading for each section of the header, as one row across all of it.

    Returns
    -------
    (POINTS, array of bool)
        The table with the kept row of each reading moved to the header's middle and as wide
        as all its sections, and which rows are the others. Untouched where fewer than half
        of the rows share their time and yield with another.
    """
    none = np.zeros(len(points), dtype=bool)
    measured = next((name for name in ("mass_flow_kg_s", "yield_kg_ha") if name in points), None)
    if "time" not in points or measured is None or not len(points):
        return points, none
    keys = [points["log"], points["machine"], points["time"].astype("int64"), points[measured].fillna(-1.0)]
    group = points.groupby(keys, sort=False).ngroup().to_numpy()
    size = np.bincount(group)[group]
    if np.mean(size > 1) < SECTIONED:
        return points, none
    x, y, width = points.geometry.x.to_numpy(), points.geometry.y.to_numpy(), points["width_m"].to_numpy()
    kept = np.zeros(len(points), dtype=bool)
    kept[np.unique(group, return_index=True)[1]] = True
    middle_x, middle_y = _mean(group, x), _mean(group, y)
    out = points.copy()
    out["width_m"] = np.where(kept, np.bincount(group, width)[group], width)
    out.geometry = shapely.points(np.where(kept, middle_x, x), np.where(kept, middle_y, y))
    return out, ~kept


def _mean(group: np.ndarray, values: Floats) -> Floats:
    return np.asarray((np.bincount(group, values) / np.bincount(group))[group], dtype=float)
