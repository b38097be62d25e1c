"""A made field and the truth behind it: driven, cut and counted in order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyproj
import shapely

from lossmap.base.grid import Grid, Surface
from lossmap.base.tables import COUNTS, POINTS, SOURCES
from lossmap.synthetic.counts import counted, stopped
from lossmap.synthetic.land import grown
from lossmap.synthetic.log import logged, spoilt
from lossmap.synthetic.losses import at_cut, lost
from lossmap.synthetic.outline import edge
from lossmap.synthetic.plan import FieldPlan
from lossmap.synthetic.track import driven

__all__ = ["MadeField", "Truth", "make"]

#: Side of the truth's cells.
CELL_M = 5.0


@dataclass(frozen=True)
class Truth:
    """What is really so in a made field.

    Attributes
    ----------
    surfaces : mapping of str to Surface
        ``preharvest_kg_ha, header_kg_ha, threshing_kg_ha, total_kg_ha``, and at the time of
        cutting ``yield_kg_ha, speed_m_s, moisture_pct``, on one grid of 5 m.
    mean_kg_ha : mapping of str to float
        Loss over the field by source, and ``total`` [kg/ha].
    share_kg_ha : mapping of str to float
        What goes with ``speed`` above and ``dryness`` below the knot, over the field [kg/ha].
    acts : array of bool, ``[row, col]``
        Where the effects act.
    records : DataFrame
        For each row of `MadeField.points`: ``yield_kg_ha, moisture_pct, fresh_width_m,
        pass_id`` (-1 in turns), ``working``, and ``flaw`` ("" or what was done to it).
    stops : DataFrame
        For each stop: its true place, loss by source, speed and moisture when it was cut.
    """

    surfaces: Mapping[str, Surface]
    mean_kg_ha: Mapping[str, float]
    share_kg_ha: Mapping[str, float]
    acts: npt.NDArray[np.bool_]
    records: pd.DataFrame
    stops: pd.DataFrame


@dataclass(frozen=True)
class MadeField:
    """A made field: its plan, what a farmer would have (points, counts, boundary), and the truth."""

    plan: FieldPlan
    points: gpd.GeoDataFrame
    counts: gpd.GeoDataFrame
    boundary: shapely.Polygon
    crs: pyproj.CRS
    truth: Truth = field(repr=False)


def make(plan: FieldPlan, rng_seed: int) -> MadeField:
    """Drive, cut and count a field.

    Parameters
    ----------
    plan : FieldPlan
    rng_seed : int
        Same plan and seed, same field to the last bit on one machine.

    Returns
    -------
    MadeField
        `points` is POINTS as logged (wet mass flow, no yield), `counts` is COUNTS.
    """
    # one stream for each part, so that more stops or another delay leave the land as it was
    land_rng, drive_rng, sensor_rng, loss_rng, count_rng, flaw_rng = map(np.random.default_rng, np.random.SeedSequence(rng_seed).spawn(6))
    crs = pyproj.CRS.from_epsg(plan.epsg)
    boundary = edge(plan)
    land = grown(plan, Grid.covering(boundary, crs, CELL_M), land_rng)
    steps = driven(plan, land, boundary, drive_rng)
    inside = land.grid.inside(boundary)
    surfaces = at_cut(land, steps, inside)
    fallen, shares, acts = lost(plan, land, surfaces, loss_rng)
    surfaces |= fallen
    stops = stopped(plan, surfaces, steps, count_rng)
    points, records = spoilt(plan, *logged(plan, crs, land, steps, sensor_rng), flaw_rng)
    counts = counted(plan, crs, stops, count_rng)
    means = {source: float(np.nanmean(surfaces[f"{source}_kg_ha"].mean)) for source in (*SOURCES, "total")}
    truth = Truth(MappingProxyType(surfaces), MappingProxyType(means), MappingProxyType(shares), acts, records, stops)
    return MadeField(plan, POINTS.check(points), COUNTS.check(counts), boundary, crs, truth)
