"""Where the cells of a field are, and what is in them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyproj
import shapely

from lossmap.base.errors import TooLittleData

__all__ = ["Floats", "Grid", "Surface"]

Floats = npt.NDArray[np.floating]

# 300 square kilometres at 5 m; beyond it a wrong coordinate is likelier than a field.
MOST_CELLS = 12_000_000


@dataclass(frozen=True)
class Grid:
    """The one raster of a field: square cells, row 0 in the north, column 0 in the west.

    Every surface of a field lies on the same grid, so joining them never resamples.
    """

    crs: pyproj.CRS
    west_m: float
    north_m: float
    cell_m: float
    rows: int
    cols: int

    @classmethod
    def covering(cls, outline: shapely.Geometry, crs: pyproj.CRS, cell_m: float, where: str = "the field") -> Grid:
        """The smallest grid over `outline` [m in `crs`], its edges on whole multiples of `cell_m`.

        Whole multiples make two runs of one field, or a field and its neighbour, fall on
        the same cells whatever the outline's last digit. A refusal says it of `where`.

        Raises
        ------
        TooLittleData
            More cells than a field has: a wrong coordinate is likelier.
        """
        west, south, east, north = (float(side) for side in shapely.bounds(outline))
        first_col, first_row = math.floor(west / cell_m), math.ceil(north / cell_m)
        cols = max(1, math.ceil(east / cell_m) - first_col)
        rows = max(1, first_row - math.floor(south / cell_m))
        if rows * cols > MOST_CELLS:
            raise TooLittleData(
                f"{where}: spans {(east - west) / 1000:.0f} x {(north - south) / 1000:.0f} km "
                f"({rows * cols:,} cells of {cell_m:g} m, at most {MOST_CELLS:,}); "
                "check positions and boundary, or set a larger grid.cell"
            )
        return cls(crs, first_col * cell_m, first_row * cell_m, cell_m, rows, cols)

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols)."""
        return self.rows, self.cols

    @property
    def cell_ha(self) -> float:
        """Area of one cell [ha]."""
        return self.cell_m**2 / 10_000

    def centres(self) -> tuple[Floats, Floats]:
        """Easting of each column and northing of each row [m], at the cells' centres."""
        easting = self.west_m + (np.arange(self.cols) + 0.5) * self.cell_m
        northing = self.north_m - (np.arange(self.rows) + 0.5) * self.cell_m
        return easting, northing

    def cell_of(self, easting_m: Floats, northing_m: Floats) -> npt.NDArray[np.intp]:
        """Flat index of the cell each place falls in, -1 outside the grid or where not finite."""
        col = np.floor((np.asarray(easting_m, float) - self.west_m) / self.cell_m)
        row = np.floor((self.north_m - np.asarray(northing_m, float)) / self.cell_m)
        with np.errstate(invalid="ignore"):
            inside = (row >= 0) & (row < self.rows) & (col >= 0) & (col < self.cols)
        flat = np.where(inside, row * self.cols + col, -1.0)
        return flat.astype(np.intp)

    def polygon(self, mask: npt.NDArray[np.bool_]) -> shapely.Geometry:
        """The cells of `mask` as one (multi)polygon [m], joined row by row: runs, not cells, are merged."""
        edges = np.diff(mask.astype(np.int8), axis=1, prepend=0, append=0)
        row, first = np.nonzero(edges == 1)
        last = np.nonzero(edges == -1)[1]
        west, north = self.west_m + first * self.cell_m, self.north_m - row * self.cell_m
        boxes = shapely.box(west, north - self.cell_m, self.west_m + last * self.cell_m, north)
        return shapely.union_all(boxes)

    def inside(self, outline: shapely.Geometry) -> npt.NDArray[np.bool_]:
        """Which cells have their centre in `outline`, ``[row, col]``."""
        easting, northing = self.centres()
        east, north = np.meshgrid(easting, northing)
        shapely.prepare(outline)
        return np.asarray(shapely.contains_xy(outline, east, north), dtype=bool)


@dataclass(frozen=True)
class Surface:
    """One value for each cell of a field, with its doubt.

    Attributes
    ----------
    name : str
        What it is, ending in its unit: ``loss_kg_ha``.
    unit : str
        The unit once more, as people write it: ``kg/ha``.
    grid : Grid
    mean, low, high : array of float32, ``[row, col]``
        Best value and 90 % interval; NaN outside the boundary and where nothing is known.
    note : str
        How it was made, in words.
    """

    name: str
    unit: str
    grid: Grid
    mean: Floats
    low: Floats
    high: Floats
    note: str = ""

    def __post_init__(self) -> None:
        for part in (self.mean, self.low, self.high):
            if part.shape != self.grid.shape:
                raise ValueError(f"{self.name}: array {part.shape} on a grid of {self.grid.shape}")

    def at(self, easting_m: Floats, northing_m: Floats) -> Floats:
        """Best value at each place, NaN outside."""
        cell = self.grid.cell_of(easting_m, northing_m)
        values = self.mean.ravel()[np.maximum(cell, 0)].astype(float)
        values[cell < 0] = np.nan
        return values
