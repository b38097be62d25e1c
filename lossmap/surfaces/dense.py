"""The machine's own layers: hundreds of thousands of points to a surface, in milliseconds.

Points are binned to the field's cells (`numpy.bincount`) and the bins smoothed with a
Gaussian that only counts cells with points in them: sum of values over sum of weights,
both smoothed. It is linear in points and cells, and measured against kriging its error
is no larger: neighbouring records of a log lie closer than the machine can tell apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import Z90
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.settings import SurfaceSettings
from lossmap.base.tables import POINTS

__all__ = ["Placement", "by_pass", "dense", "placed"]

Bools = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.intp]

# The Gaussian ends here [standard deviations]; beyond it is 3 parts in 1,000 of its middle.
TRUNCATE = 3.5
# Scatter of points is averaged over this many times the smoothing.
SCATTER_OVER = 3
# Cells with less smoothed weight than this hold nothing but the Gaussian's far tail.
LEAST_WEIGHT = 1e-6


@dataclass(frozen=True)
class Placement:
    """Believed points on the grid, worked out once and used for every column.

    Attributes
    ----------
    rows : array of bool, ``[point]``
        Points that count.
    cell : array, ``[believed point]``
        Flat cell of each.
    near : array of bool, ``[row, col]``
        Cells inside the field and near enough to a believed point.
    """

    grid: Grid
    rows: Bools
    cell: Whole
    near: Bools


def dense(
    points: gpd.GeoDataFrame, column: str, grid: Grid, inside: Bools, settings: SurfaceSettings, placement: Placement | None = None
) -> Surface:
    """Surface of one column of a log.

    Parameters
    ----------
    points : POINTS
        Only rows with an empty ``flag`` are believed; each is weighted by the area it cut
        (width times distance) where the log tells, else all alike.
    column : str
        A column of POINTS with a number in it.
    grid : Grid
    inside : array of bool, ``[row, col]``
        Cells of the field.
    settings : SurfaceSettings
    placement : Placement, optional
        From `placed`, to share among columns.

    Returns
    -------
    Surface
        NaN outside `inside` and further than ``settings.gap`` from any believed point.
        The interval is that of the smoothed value: scatter of the points around the
        surface nearby over the number of points that made it.

    Raises
    ------
    TooLittleData
        No believed point has a value.
    """
    at = placed(points, grid, inside, settings) if placement is None else placement
    values, known = _believed(points, column, at)
    weight = _area(points)[at.rows]
    mean, error = _smoothed(values[known], weight[known], at.cell[known], grid, settings.smoothing)
    how = f"mean of {int(known.sum()):,} believed points a cell, smoothed over {settings.smoothing * grid.cell_m:g} m"
    return _surface(column, at, mean, error, how)


def by_pass(
    points: gpd.GeoDataFrame, column: str, grid: Grid, inside: Bools, settings: SurfaceSettings, placement: Placement | None = None
) -> Surface:
    """Surface of a column that each pass has for itself, such as ground speed.

    A neighbouring pass may have been driven twice as fast: smoothing across passes would
    make both look alike, and loss that goes with speed would be spread over cells that
    were never driven so. Each cell takes the mean of the records in it, an empty one that
    of the nearest cell that has any.

    Parameters, gaps and refusals are those of `dense`; the interval is that of a record's
    own scatter within cells over the records that made the mean.
    """
    at = placed(points, grid, inside, settings) if placement is None else placement
    values, known = _believed(points, column, at)
    mean, error = _of_cells(values[known], at.cell[known], grid)
    return _surface(column, at, mean, error, f"each pass's own, mean of {int(known.sum()):,} believed points a cell")


def placed(points: gpd.GeoDataFrame, grid: Grid, inside: Bools, settings: SurfaceSettings) -> Placement:
    """Find believed points and the cells near them."""
    place = shapely.get_coordinates(points.geometry.to_numpy())
    rows = points["flag"].to_numpy() == "" if "flag" in points.columns else np.ones(len(points), bool)
    cell = grid.cell_of(place[rows, 0], place[rows, 1])
    filled = np.zeros(grid.shape, bool)
    filled.ravel()[cell[cell >= 0]] = True
    near = ndimage.distance_transform_edt(~filled, sampling=grid.cell_m) <= settings.gap if filled.any() else filled
    return Placement(grid, rows, cell, inside & near)


def _believed(points: gpd.GeoDataFrame, column: str, at: Placement) -> tuple[Floats, Bools]:
    """Values of the believed points, and which of them are known and on the grid.

    Raises
    ------
    TooLittleData
        None is.
    """
    values = points[column].to_numpy(float)[at.rows]
    known = np.isfinite(values) & (at.cell >= 0)
    if not known.any():
        raise TooLittleData(f"{column}: no believed point on the field has a value ({at.rows.sum():,} points are believed); see the flags")
    return values, known


def _area(points: gpd.GeoDataFrame) -> Floats:
    """Area each record cut [m2], or 1 for all where the log does not say."""
    width = next((points[name] for name in ("fresh_width_m", "width_m") if name in points.columns), None)
    if width is None or "distance_m" not in points.columns:
        return np.ones(len(points))
    area = width.to_numpy(float) * points["distance_m"].to_numpy(float)
    usual = np.nanmedian(area) if np.isfinite(area).any() else 1.0
    # A record without its own area counts like most others, not like none.
    return np.where(np.isfinite(area) & (area > 0), area, usual if usual > 0 else 1.0)


def _smoothed(values: Floats, weight: Floats, cell: Whole, grid: Grid, smoothing: float) -> tuple[Floats, Floats]:
    """Smoothed mean and its standard error, ``[row, col]`` each.

    With Gaussian weights g over points, mean = sum(g w v) / sum(g w), and its variance is
    the local scatter times sum((g w)^2) / sum(g w)^2; the square of a Gaussian is one of
    half the variance, so the second sum is a narrower blur of the squared weights.
    """
    centre = float(np.average(values, weights=weight))
    weights = _binned(cell, weight, grid)
    blurred = _blur(weights, smoothing)
    safe = np.maximum(blurred, LEAST_WEIGHT * weight.mean())
    mean = _blur(_binned(cell, weight * (values - centre), grid), smoothing) / safe
    residual = values - centre - mean.ravel()[cell]
    # Scatter is taken from a wider neighbourhood than the mean: it needs more points to be known as well.
    wider = np.maximum(_blur(weights, SCATTER_OVER * smoothing), LEAST_WEIGHT * weight.mean())
    scatter = _blur(_binned(cell, weight * residual**2, grid), SCATTER_OVER * smoothing) / wider
    squares = _blur(_binned(cell, weight**2, grid), smoothing / math.sqrt(2)) / (4 * math.pi * smoothing**2)
    return mean + centre, np.sqrt(np.maximum(scatter, 0) * np.maximum(squares, 0)) / safe


def _binned(cell: Whole, weight: Floats, grid: Grid) -> Floats:
    return np.asarray(np.bincount(cell, weight, grid.rows * grid.cols), float).reshape(grid.shape)


def _blur(values: Floats, smoothing: float) -> Floats:
    return np.asarray(ndimage.gaussian_filter(values, smoothing, truncate=TRUNCATE, mode="constant"))


def _of_cells(values: Floats, cell: Whole, grid: Grid) -> tuple[Floats, Floats]:
    """Mean of the values in each cell and its standard error, ``[row, col]`` each; an empty cell has those of the nearest that is not."""
    cells = grid.rows * grid.cols
    count = np.bincount(cell, minlength=cells)
    mean = np.bincount(cell, values, cells) / np.maximum(count, 1)
    within = values - mean[cell]
    freedom = max(int((count[count > 1] - 1).sum()), 1)
    error = math.sqrt(float((within[count[cell] > 1] ** 2).sum()) / freedom) / np.sqrt(np.maximum(count, 1))
    nearest = ndimage.distance_transform_edt((count == 0).reshape(grid.shape), return_distances=False, return_indices=True)
    mean, error = (part.reshape(grid.shape)[tuple(nearest)] for part in (mean, error))
    return mean, error


def _surface(column: str, at: Placement, mean: Floats, error: Floats, how: str) -> Surface:
    """Mean and interval near believed points, NaN elsewhere; `mean` is written into."""
    means, unit = next(((entry.means, entry.unit) for entry in POINTS.columns if entry.name == column), (column, ""))
    mean[~at.near] = np.nan
    mean, low, high = (part.astype(np.float32) for part in (mean, mean - Z90 * error, mean + Z90 * error))
    return Surface(column, unit, at.grid, mean, low, high, f"{means}: {how}")
