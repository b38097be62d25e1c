"""A surface as a palette picture to look at, and as whole numbers to read from.

Both say the same: values are rounded no further than to what is printed, and never over
the edge of a class, so the colour on the screen is the class of the value that a tap
reads, and both are those of the surface itself.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from PIL import Image

from lossmap.base.grid import Floats, Grid
from lossmap.report.classes import Classes
from lossmap.report.map.packing import GAP, Codes
from lossmap.report.projection import WebPlace

__all__ = ["Canvas", "Steps", "block_means", "canvas", "coarser", "picture", "reaching_the_edge", "steps"]

Bytes = npt.NDArray[np.uint8]

# Pixels of a picture: four a cell make a clean edge; a wide field gets fewer (two a cell at 500 ha), not a wider file.
MOST_PIXELS = 1_500_000

# Levels of a layer; a wilder one is read in tens of its unit, or hundreds.
MOST_LEVELS = 4_000

# Cells on the page; beyond it (1,000 ha at 5 m) the page shows means of blocks of cells.
MOST_CELLS = 500_000


@dataclass(frozen=True)
class Steps:
    """Values as whole numbers: code k stands for ``levels[k]`` [SI], `GAP` for what is not known."""

    levels: Floats
    codes: Codes

    def values(self) -> Floats:
        """The values as the page reads them back [SI]."""
        known = self.codes != GAP
        return np.where(known, self.levels[np.where(known, self.codes, 0)], np.nan)


def steps(values: Floats, factor: float, places: int, edges: Sequence[float] = ()) -> Steps:
    """`values` as coarse as no reader can tell: the same printed number, the same class.

    Parameters
    ----------
    values : array [SI]
    factor : float
        From SI to the unit people read.
    places : int
        Decimals printed.
    edges : sequence of float
        Of the classes [in the unit people read].
    """
    shown = np.asarray(values, dtype=float) * factor
    known = np.isfinite(shown)
    if not known.any():
        return Steps(np.zeros(1), np.full(shown.shape, GAP, dtype=np.uint16))
    least, most = float(shown[known].min()), float(shown[known].max())
    unit = 10.0**-places
    while most - least > MOST_LEVELS * unit:
        unit *= 10
    first, last = np.floor(least / unit + 0.5), np.floor(most / unit + 0.5)
    halves = (np.arange(first - 1, last + 1) + 0.5) * unit
    # an edge may be a half as well: rounded, they are one
    ends = np.unique(np.round([*halves, *(edge for edge in edges if halves[0] < edge < halves[-1])], 9))
    codes = np.where(known, np.digitize(shown, ends[1:-1]), GAP).astype(np.uint16)
    return Steps((ends[:-1] + ends[1:]) / 2 / factor, codes)


def coarser(grid: Grid, most: int = MOST_CELLS) -> tuple[Grid, int]:
    """The grid the page draws, and how many cells make a side of one of its cells."""
    times = max(1, int(np.ceil(np.sqrt(grid.rows * grid.cols / most))))
    rows, cols = -(-grid.rows // times), -(-grid.cols // times)
    return Grid(grid.crs, grid.west_m, grid.north_m, grid.cell_m * times, rows, cols), times


def block_means(values: Floats, times: int) -> Floats:
    """Means of blocks of `times` x `times` cells, gaps left out."""
    if times == 1:
        return values
    padded = np.pad(values.astype(float), [(0, -size % times) for size in values.shape], constant_values=np.nan)
    blocks = padded.reshape(padded.shape[0] // times, times, padded.shape[1] // times, times)
    known = np.isfinite(blocks)
    number = known.sum(axis=(1, 3))
    total = np.where(known, blocks, 0.0).sum(axis=(1, 3))
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def reaching_the_edge(values: Floats, inside: npt.NDArray[np.bool_]) -> Floats:
    """`values` carried into the cells that the outline cuts (centre outside, a corner inside).

    Without it the picture would end in stairs short of the field's edge. Cells inside
    stay as they are: where nothing is known there, the map stays blank.
    """
    padded = np.pad(np.where(inside, values, np.nan).astype(float), 1, constant_values=np.nan)
    rows, cols = values.shape
    beside = np.stack([padded[1 + down : 1 + down + rows, 1 + right : 1 + right + cols] for down in (-1, 0, 1) for right in (-1, 0, 1)])
    known = np.isfinite(beside)
    mean = np.where(known, beside, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.where(inside, values, np.where(known.any(axis=0), mean, np.nan))


@dataclass(frozen=True)
class Canvas:
    """The pixels of the field's pictures on the web map, and the cell each one shows.

    Attributes
    ----------
    cell : array of int, ``[row, col]``
        Flat index into the grid; -1 outside the field.
    """

    cell: npt.NDArray[np.intp]


def canvas(grid: Grid, outline: shapely.Geometry, place: WebPlace) -> Canvas:
    """Nearest-neighbour warp of `grid` onto the web map, cut along `outline`."""
    width, height = place.east - place.west, place.north - place.south
    pixel = max(grid.cell_m * place.stretch / 4, np.sqrt(width * height / MOST_PIXELS))
    cols, rows = max(1, int(np.ceil(width / pixel))), max(1, int(np.ceil(height / pixel)))
    x = place.west + (np.arange(cols) + 0.5) * width / cols
    y = place.north - (np.arange(rows) + 0.5) * height / rows
    easting, northing = place.to_field(*np.meshgrid(x, y))
    shapely.prepare(outline)
    cell = grid.cell_of(easting, northing)
    return Canvas(np.where(shapely.contains_xy(outline, easting, northing), cell, -1))


def picture(codes: Bytes, found: Classes, onto: Canvas) -> str:
    """Classes of the cells as a palette PNG, in a data URI.

    Parameters
    ----------
    codes : array of uint8, ``[row, col]``
        Class of each cell, 255 where there is none (drawn clear).
    """
    clear = len(found.colours)
    flat = np.append(np.where(codes == 255, clear, codes).ravel(), clear)
    image = Image.fromarray(flat[onto.cell].astype(np.uint8))
    image.putpalette([int(colour[at : at + 2], 16) for colour in (*found.colours, "#ffffff") for at in (1, 3, 5)])
    out = io.BytesIO()
    image.save(out, "PNG", transparency=clear, bits=4, optimize=True)
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode("ascii")
