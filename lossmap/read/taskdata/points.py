"""Time logs to one POINTS table: what only the field's facts can add to them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from lossmap.base.field import Field
from lossmap.base.grid import Floats
from lossmap.read.taskdata.logs import TaskData, TimeLog
from lossmap.read.taskdata.roles import WET_YIELD

__all__ = ["points_of"]


def points_of(found: TaskData, field: Field, machine: str | None, first: int) -> gpd.GeoDataFrame:
    """All records, in WGS84.

    Parameters
    ----------
    found : TaskData
    field : Field
        Gives the width where none is logged, and the crop's market moisture.
    machine : str or None
        Stands instead of the devices' names.
    first : int
        Number of the first log in POINTS; each has its own.
    """
    tables = [_log_points(log, field, machine, first + number) for number, log in enumerate(found.logs)]
    table = pd.concat(tables, ignore_index=True)
    places = shapely.points(*(np.concatenate([getattr(log, name) for log in found.logs]) for name in ("longitude", "latitude")))
    return gpd.GeoDataFrame(table, geometry=places, crs="EPSG:4326")


def _log_points(log: TimeLog, field: Field, machine: str | None, number: int) -> pd.DataFrame:
    table = log.columns.drop(columns=WET_YIELD, errors="ignore")
    if WET_YIELD in log.columns:
        table["yield_kg_ha"] = _at_market(log.columns, field.crop.market_moisture_pct)
    width = table["width_m"] if "width_m" in table else pd.Series(np.nan, table.index)
    return table.assign(
        width_m=width.fillna(field.facts.header_width),
        machine=pd.Series(machine if machine is not None else log.machine, table.index, dtype="str"),
        log=np.int64(number),
    )


def _at_market(columns: pd.DataFrame, market_pct: float) -> Floats:
    """Yield at market moisture [kg/ha]; where moisture is missing, with the log's middle one; without any, as it came."""
    water = columns["moisture_pct"].to_numpy() if "moisture_pct" in columns else np.full(len(columns), np.nan)
    known = np.isfinite(water)
    usual = float(np.median(water[known])) if known.any() else market_pct
    return columns[WET_YIELD].to_numpy() * (100.0 - np.where(known, water, usual)) / (100.0 - market_pct)
