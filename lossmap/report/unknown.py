"""Where the map of loss says little: one mean everywhere, or a part where nobody counted near.

A map of means looks equally sure everywhere; the pages say where it is not.
"""

from __future__ import annotations

import numpy as np
import scipy.spatial
import shapely

from lossmap.base.field import FieldMap
from lossmap.base.grid import Surface

__all__ = ["UNKNOWN_BEYOND_M", "UNKNOWN_RATIO", "is_flat", "unknown_part"]

#: "We do not know": no stop within this distance (250 ft), and an interval that spans more than this many times.
UNKNOWN_BEYOND_M = 76.2
UNKNOWN_RATIO = 4.0

# Smaller scraps of it are left out: a cell or two at a corner tells nobody where to count.
LEAST_UNKNOWN_HA = 0.1


def is_flat(surface: Surface) -> bool:
    """Whether a surface says the same everywhere: a field mean, with too few counts for a map."""
    known = surface.mean[np.isfinite(surface.mean)]
    return known.size == 0 or float(np.ptp(known)) <= 1e-4 * max(abs(float(known.mean())), 1e-9)


def unknown_part(field_map: FieldMap) -> shapely.Geometry | None:
    """Where nobody counted near and the interval is wide: the part hatched "we do not know" [m in the field's crs]; None without one."""
    loss = field_map.surfaces.get("loss_kg_ha")
    if loss is None or field_map.losses.empty:
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = loss.high > UNKNOWN_RATIO * loss.low
    row, col = np.nonzero(wide & np.isfinite(loss.mean))
    if row.size == 0:
        return None
    easting, northing = loss.grid.centres()
    stops = np.column_stack([field_map.losses.geometry.x, field_map.losses.geometry.y])
    distance, _ = scipy.spatial.cKDTree(stops).query(np.column_stack([easting[col], northing[row]]))
    mask = np.zeros(loss.grid.shape, dtype=bool)
    mask[row[distance > UNKNOWN_BEYOND_M], col[distance > UNKNOWN_BEYOND_M]] = True
    return _without_scraps(shapely.intersection(loss.grid.polygon(mask), field_map.outline)) if mask.any() else None


def _without_scraps(shape: shapely.Geometry) -> shapely.Geometry | None:
    parts = [part for part in shapely.get_parts(shape) if part.area >= LEAST_UNKNOWN_HA * 10_000]
    return shapely.MultiPolygon(parts) if parts else None
