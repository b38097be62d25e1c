"""Surfaces on one grid to one table of cells; stops to the speed, moisture and flow at which they were cut."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

from lossmap.base.grid import Floats, Surface
from lossmap.base.tables import CELLS, LOSSES

__all__ = ["cells", "stops_with_drive"]

# Looked at around a stop; about half are of its own pass, as many as are written over a header's width.
NEAREST = 24

_DRIVE = ("speed_m_s", "moisture_pct", "mass_flow_kg_s")


def stops_with_drive(losses: gpd.GeoDataFrame, points: gpd.GeoDataFrame, within_m: float) -> gpd.GeoDataFrame:
    """LOSSES with speed, moisture and grain flow where each stop was cut.

    Parameters
    ----------
    losses : LOSSES
    points : POINTS
        Cleaned, in the same crs.
    within_m : float
        Believed records further than this from a stop say nothing about it [m].

    Returns
    -------
    LOSSES
        With the medians of the nearest believed records, all of the pass that the nearest
        one is of (the neighbouring pass may have been driven at another speed); NaN where
        none is near. The median, not the nearest: one record's speed is no evidence of how
        it was driven.
    """
    believed = points[(points["flag"] == "").to_numpy()] if "flag" in points else points
    near, known = _nearest(losses, believed, within_m)
    if "pass_id" in believed and len(believed):
        pass_id = np.append(believed["pass_id"].to_numpy(), -1)[near]
        known = known & (pass_id == pass_id[:, :1])
    out = losses.copy()
    for name in _DRIVE:
        if name in believed:
            values = np.append(believed[name].to_numpy(dtype=float), np.nan)[near]
            out[name] = _median(np.where(known, values, np.nan))
    return LOSSES.check(out)


def cells(surfaces: Mapping[str, Surface], inside: np.ndarray) -> gpd.GeoDataFrame:
    """One row for each cell inside the field, from surfaces that lie on one grid.

    Parameters
    ----------
    surfaces : mapping of str to Surface
        ``loss_kg_ha`` and any of ``speed_m_s``, ``moisture_pct``, ``yield_kg_ha``.
    inside : array of bool, ``[row, col]``

    Returns
    -------
    CELLS
        Ordered by row, then column.
    """
    loss = surfaces["loss_kg_ha"]
    row, col = np.nonzero(inside)
    easting, northing = loss.grid.centres()
    columns: dict[str, Floats | np.ndarray] = {
        "row": row.astype(np.int64),
        "col": col.astype(np.int64),
        "loss_kg_ha": loss.mean[inside].astype(float),
        "loss_low_kg_ha": loss.low[inside].astype(float),
        "loss_high_kg_ha": loss.high[inside].astype(float),
    }
    columns |= {
        name: surfaces[name].mean[inside].astype(float) for name in ("speed_m_s", "moisture_pct", "yield_kg_ha") if name in surfaces
    }
    table = gpd.GeoDataFrame(columns, geometry=shapely.points(easting[col], northing[row]), crs=loss.grid.crs)
    return CELLS.check(table)


def _nearest(losses: gpd.GeoDataFrame, points: gpd.GeoDataFrame, within_m: float) -> tuple[np.ndarray, np.ndarray]:
    if not len(points):
        none = np.zeros((len(losses), 1), dtype=np.intp)
        return none, none.astype(bool)
    places = np.column_stack([points.geometry.x, points.geometry.y])
    stops = np.column_stack([losses.geometry.x, losses.geometry.y])
    away, near = cKDTree(places).query(stops, k=NEAREST, distance_upper_bound=within_m)
    return near, np.isfinite(away)


def _median(values: Floats) -> Floats:
    """Median of each row's known values, NaN where there are none."""
    out = np.full(len(values), np.nan)
    some = np.isfinite(values).any(axis=1)
    out[some] = np.nanmedian(values[some], axis=1)
    return out
