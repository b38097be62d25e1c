"""points.parquet, cells.parquet and season.parquet: GeoParquet, every record in its order, SI columns."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd

from lossmap.base.field import FieldMap
from lossmap.base.tables import CELLS, POINTS, SEASON, Contract

__all__ = ["write_cells", "write_fields", "write_points"]


def write_points(field_map: FieldMap, path: Path) -> None:
    """Every input record in its order, with `flag` and the corrected values."""
    _in_order(field_map.points, POINTS).to_parquet(path, index=False, compression="zstd")


def write_cells(field_map: FieldMap, path: Path) -> None:
    """The joined cells inside the boundary."""
    _in_order(field_map.cells, CELLS).to_parquet(path, index=False, compression="zstd")


def write_fields(fields: gpd.GeoDataFrame, path: Path) -> None:
    """The fields of a season, failed ones with an empty outline."""
    _in_order(fields, SEASON).to_parquet(path, index=False, compression="zstd")


def _in_order(table: gpd.GeoDataFrame, contract: Contract) -> gpd.GeoDataFrame:
    """The contract's columns first and in its order; rows as they came."""
    first = [column.name for column in contract.columns if column.name in table.columns]
    return table[first + [name for name in table.columns if name not in first]]
