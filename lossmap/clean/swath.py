"""What each record really cut, and the area all of them cut."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.grid import Floats
from lossmap.clean.track import Track, Whole

__all__ = ["covered", "cut_area", "fresh_share"]

# Cells of half a metre: within 0.005 to 0.018 of the width share exact polygons give.
CELL_M = 0.5

# Records of one pass overlap at their joints; the last ones do not count as an earlier cut.
JOINT_RECORDS = 4

# A swath is no longer than this, whatever the log says was driven since the record before.
LONGEST_M = 40.0

# No swath reaches further than this from its record, its length and half a header of 30 m together.
MARGIN_M = 60.0

# Records of one pass further apart than this have an uncut, or unknown, stretch between them.
BRIDGED_M = 30.0

# Reasons that say nothing was cut there, or that nobody knows where it was.
NOT_CUT = ("bad position", "duplicate", "section row", "position jump", "not working", "short pass", "outside field")


def fresh_share(track: Track, width_m: Floats, pass_id: Whole) -> Floats:
    """Share of each record's swath that no earlier record had cut, 1 where unknown.

    Each swath is laid on a fine raster in the order of harvest; a cell belongs to the
    first record that covers it.
    """
    share = np.ones(len(width_m))
    heading = _headings(track, pass_id)
    cutting = np.flatnonzero((pass_id >= 0) & np.isfinite(heading) & np.isfinite(track.easting_m) & (width_m > 0) & (track.distance_m > 0))
    if not cutting.size:
        return share
    record, cell, cells = _samples(track, width_m, heading, cutting)
    first = np.full(cells, -1, dtype=np.int32)
    # later writes win, so the earliest record is written last
    first[cell[::-1]] = record[::-1]
    owner = first[cell]
    fresh = (owner == record) | ((record - owner < JOINT_RECORDS) & (pass_id[owner] == pass_id[record]))
    share[cutting] = np.bincount(record, fresh, len(width_m))[cutting] / np.bincount(record, minlength=len(width_m))[cutting]
    return share


def cut_area(points: gpd.GeoDataFrame, header_width_m: float) -> shapely.Geometry:
    """Outline of what the machine cut [m]: strips along its passes, gaps under a header's width closed.

    A record whose yield is not believed still cut its strip, so only records that did not
    cut, or whose place is in doubt, are left out.

    Parameters
    ----------
    points : POINTS
        Cleaned.
    header_width_m : float
    """
    reach = header_width_m / 2
    # out by half a header and back bridges gaps of one header between passes
    wide = shapely.buffer(covered(points, header_width_m), reach, join_style="mitre")
    return shapely.simplify(shapely.buffer(wide, -reach, join_style="mitre"), reach / 10)


def covered(points: gpd.GeoDataFrame, header_width_m: float) -> shapely.Geometry:
    """All swaths together [m], as they lie: its area is what the machine covered, counted once."""
    cutting = points[~points["flag"].isin(NOT_CUT).to_numpy()]
    places = np.column_stack([cutting.geometry.x, cutting.geometry.y])
    pass_id = cutting["pass_id"].to_numpy() if "pass_id" in cutting else np.full(len(places), -1)
    reach = header_width_m / 2
    # a pass is a line a header wide; records that belong to no pass are each a spot as wide
    breaks = (np.diff(pass_id) != 0) | (np.hypot(*np.diff(places, axis=0).T) > BRIDGED_M) | (pass_id[1:] < 0)
    run = np.concatenate([[0], np.cumsum(breaks)])
    alone = np.bincount(run)[run] == 1
    lines = shapely.linestrings(places[~alone], indices=np.unique(run[~alone], return_inverse=True)[1])
    strips = shapely.buffer(shapely.simplify(lines, reach / 10), reach, cap_style="flat", join_style="mitre")
    spots = shapely.buffer(shapely.points(places[alone]), reach, quad_segs=2)
    return shapely.union_all([*np.atleast_1d(strips), *spots])


def _headings(track: Track, pass_id: Whole) -> Floats:
    """Course of each record [rad], over the step into it and the step out of it where both are of its pass."""
    x, y = track.easting_m, track.northing_m
    same = np.zeros(len(x), dtype=bool)
    same[1:] = (pass_id[1:] == pass_id[:-1]) & (pass_id[1:] >= 0)
    east, north = np.zeros(len(x)), np.zeros(len(x))
    step_x, step_y = np.diff(x, prepend=np.nan), np.diff(y, prepend=np.nan)
    usable = same & np.isfinite(step_x) & np.isfinite(step_y)
    for shift in (0, -1):
        used = np.roll(usable, shift)
        east += np.where(used, np.roll(step_x, shift), 0.0)
        north += np.where(used, np.roll(step_y, shift), 0.0)
    return np.where((east == 0) & (north == 0), np.nan, np.arctan2(east, north))


def _samples(track: Track, width_m: Floats, heading: Floats, cutting: Whole) -> tuple[np.ndarray, np.ndarray, int]:
    """Every fine cell each swath covers, in the order of harvest: (record, flat cell, number of cells)."""
    across = np.maximum(1, np.rint(width_m[cutting] / CELL_M)).astype(int)
    driven = np.minimum(track.distance_m[cutting], LONGEST_M)
    along = np.maximum(1, np.rint(driven / CELL_M)).astype(int)
    count = across * along
    # single precision: a sample need only find its half-metre cell
    of = np.repeat(np.arange(cutting.size, dtype=np.int32), count)
    inner = np.arange(count.sum(), dtype=np.int32) - np.repeat((np.cumsum(count) - count).astype(np.int32), count)
    wide = across.astype(np.int32)[of]
    line = inner // wide
    half = (width_m[cutting] / 2).astype(np.float32)
    aside = (inner - line * wide + np.float32(0.5)) * (width_m[cutting] / across).astype(np.float32)[of] - half[of]
    behind = (line + np.float32(0.5)) * (driven / along).astype(np.float32)[of]
    sin, cos = (wave(heading[cutting]).astype(np.float32)[of] for wave in (np.sin, np.cos))
    east, north = track.easting_m[cutting], track.northing_m[cutting]
    # a margin keeps every cell's number above zero
    west, south = east.min() - MARGIN_M, north.min() - MARGIN_M
    x = (east - west).astype(np.float32)[of] - behind * sin + aside * cos
    y = (north - south).astype(np.float32)[of] - behind * cos - aside * sin
    cols, rows = (int((np.ptp(side) + 2 * MARGIN_M) / CELL_M) + 2 for side in (east, north))
    cell = (y / np.float32(CELL_M)).astype(np.int32) * np.int32(cols) + (x / np.float32(CELL_M)).astype(np.int32)
    return cutting.astype(np.int32)[of], cell, cols * rows
