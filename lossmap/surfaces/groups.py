"""More stops than the count model can take one by one, brought together in groups of stops alike."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.tables import DRIVE, POSITIONS
from lossmap.surfaces.lattice import Whole

__all__ = ["MOST_COUNTS", "grouped"]

#: More counts than this are brought together: the work grows with the third power of their number.
MOST_COUNTS = 300


def grouped(losses: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Stops alike in place, speed and moisture as one, counts and areas added up; `losses` itself where counts are few enough.

    Group middles are spread as far from one another as they can be; a stop joins the nearest.

    Parameters
    ----------
    losses : LOSSES

    Returns
    -------
    GeoDataFrame
        A row a group, at the mean place, with the columns that the count model needs.
    """
    counts = int(losses[[f"seeds_{position}" for position in POSITIONS]].notna().to_numpy().sum())
    if counts <= MOST_COUNTS:
        return losses
    drive = [name for name in DRIVE.values() if name in losses]
    group = _groups(losses, drive, max(1, int(MOST_COUNTS * len(losses) / counts)))
    averaged = [*drive, "concentration", "weighed", *(name for name in ("ear_g", "ear_doubt") if name in losses)]
    summed = [name for name in losses if name.startswith(("seeds_", "frame_m2_", "ears_", "ear_m2_"))]
    columns = {name: losses[name].groupby(group).mean().to_numpy() for name in averaged}
    columns |= {name: losses[name].groupby(group).sum(min_count=1).to_numpy() for name in summed}
    places = shapely.get_coordinates(losses.geometry.to_numpy())
    at = np.column_stack([np.bincount(group, side) / np.bincount(group) for side in places.T])
    return gpd.GeoDataFrame(columns, geometry=shapely.points(at), crs=losses.crs)


def _groups(losses: gpd.GeoDataFrame, drive: list[str], most: int) -> Whole:
    """Which of at most `most` groups each stop is in."""
    places = shapely.get_coordinates(losses.geometry.to_numpy())
    parts = [places / max(float(np.hypot(*np.ptp(places, axis=0))) / 4, 1e-9)]
    for name in drive:
        values = losses[name].to_numpy(float)
        spread = float(np.nanstd(values)) if np.isfinite(values).any() else 0.0
        if spread > 0:
            parts.append(np.nan_to_num((values - np.nanmean(values)) / spread)[:, None])
    features = np.hstack(parts)
    away, group = np.full(len(losses), np.inf), np.zeros(len(losses), dtype=np.intp)
    middle = int(np.argmin(((features - features.mean(axis=0)) ** 2).sum(axis=1)))
    for number in range(most):
        apart = ((features - features[middle]) ** 2).sum(axis=1)
        group[apart < away] = number
        away = np.minimum(away, apart)
        middle = int(np.argmax(away))
    return np.unique(group, return_inverse=True)[1]
