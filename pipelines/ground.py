"""The ground of a field as every flow sees it: its cleaned log, its edge, and the machine's layers over its cells."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import Delay, StatedTiming
from lossmap.base.field import Cleaning, Field
from lossmap.base.grid import Grid, Surface
from lossmap.base.settings import Settings
from lossmap.clean import clean, cut_area
from lossmap.surfaces import by_pass, dense, placed

__all__ = ["LAYERS", "cleaned_log", "cut_outline", "machine_layers"]

#: The machine's layers, in the order of the files.
LAYERS = {"yield_kg_ha": dense, "speed_m_s": by_pass, "moisture_pct": dense}


def cleaned_log(
    points: gpd.GeoDataFrame, field: Field, settings: Settings, edge: shapely.Geometry | None, timings: Sequence[StatedTiming]
) -> tuple[gpd.GeoDataFrame, Cleaning]:
    """The cleaned log; a field without one has nothing to clean, and says so."""
    if len(points):
        return clean(points, field, settings.clean, edge, timings)
    none = dict.fromkeys(("mean", "median", "sd", "cv_pct", "skewness", "first_lag", "nugget", "sill", "mass_kg"), float("nan"))
    no_delay = Delay(0.0, float("nan"), float("nan"), False, "no log")
    nothing = Cleaning(
        0,
        0,
        {},
        float("nan"),
        float("nan"),
        none,
        none,
        no_delay,
        no_delay,
        ("no log was given: loss is not joined with speed, moisture or yield",),
    )
    return points.assign(flag=points["machine"]), nothing


def cut_outline(points: gpd.GeoDataFrame, field: Field) -> shapely.Geometry:
    """The field's edge where none was given: what the log cut [m].

    Raises
    ------
    TooLittleData
        The log stands still.
    """
    outline = cut_area(points, field.facts.header_width)
    if not shapely.area(outline) > 0:
        raise TooLittleData(f"{field.id}: the log does not move, so no field can be seen in it; check its positions, or give a boundary")
    return outline


def machine_layers(
    points: gpd.GeoDataFrame, grid: Grid, inside: np.ndarray, settings: Settings, names: Collection[str] = tuple(LAYERS)
) -> dict[str, Surface]:
    """Those of the machine's layers that its believed records know, by name; none without a log."""
    believed = (points["flag"] == "").to_numpy()
    known = [name for name in LAYERS if name in names and name in points and np.isfinite(points[name][believed]).any()]
    if not known:
        return {}
    placement = placed(points, grid, inside, settings.surfaces)
    return {name: LAYERS[name](points, name, grid, inside, settings.surfaces, placement) for name in known}
