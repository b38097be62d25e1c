"""surfaces.tif: the field's surfaces as one Cloud Optimized GeoTIFF, for any GIS."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from rasterio import Affine
from rasterio.io import MemoryFile

from lossmap.base.field import FieldMap
from lossmap.base.grid import Floats, Grid, Surface

__all__ = ["BANDS", "write_surfaces"]

#: Band by band: its description, the surface it is taken from, and which part of it.
#: Scripts of other people rely on this order; new bands go to the end.
BANDS: tuple[tuple[str, str, str], ...] = (
    ("loss_kg_ha", "loss_kg_ha", "mean"),
    ("loss_low_kg_ha", "loss_kg_ha", "low"),
    ("loss_high_kg_ha", "loss_kg_ha", "high"),
    ("yield_kg_ha", "yield_kg_ha", "mean"),
    ("speed_m_s", "speed_m_s", "mean"),
    ("moisture_pct", "moisture_pct", "mean"),
    ("yield_low_kg_ha", "yield_kg_ha", "low"),
    ("yield_high_kg_ha", "yield_kg_ha", "high"),
    ("speed_low_m_s", "speed_m_s", "low"),
    ("speed_high_m_s", "speed_m_s", "high"),
    ("moisture_low_pct", "moisture_pct", "low"),
    ("moisture_high_pct", "moisture_pct", "high"),
)

_UNITS = {"kg_ha": "kg/ha", "m_s": "m/s", "pct": "%"}


def write_surfaces(field_map: FieldMap, path: Path) -> None:
    """Write every band of `BANDS`; one whose surface the field lacks is all NaN.

    A field without any surface has no grid and gets a grid of one empty cell at its
    outline's corner, so that a script reading many fields finds the same bands in each.
    """
    grid = _grid_of(field_map)
    with MemoryFile() as memory:
        with memory.open(
            driver="COG",
            width=grid.cols,
            height=grid.rows,
            count=len(BANDS),
            dtype="float32",
            crs=grid.crs.to_wkt(),
            transform=Affine(grid.cell_m, 0.0, grid.west_m, 0.0, -grid.cell_m, grid.north_m),
            nodata=np.nan,
            compress="DEFLATE",
            predictor="YES",
            overviews="AUTO",
        ) as out:
            for band, (name, surface, part) in enumerate(BANDS, start=1):
                out.write(_values(field_map.surfaces.get(surface), part, grid), band)
                out.set_band_description(band, name)
                out.set_band_unit(band, next(unit for end, unit in _UNITS.items() if name.endswith(end)))
        # written by us and not by GDAL, which can lose the news of a full disk
        path.write_bytes(memory.read())


def _grid_of(field_map: FieldMap) -> Grid:
    for surface in field_map.surfaces.values():
        return surface.grid
    west, _, _, north = (float(side) for side in shapely.bounds(field_map.outline))
    return Grid(field_map.crs, west, north, field_map.settings.grid.cell, 1, 1)


def _values(surface: Surface | None, part: str, grid: Grid) -> Floats:
    if surface is None:
        return np.full(grid.shape, np.nan, dtype=np.float32)
    values: Floats = getattr(surface, part)
    return values.astype(np.float32)
