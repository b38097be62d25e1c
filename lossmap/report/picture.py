"""A surface as bytes: a palette picture to look at, and packed values to read from.

Both come from the same numbers: values are first rounded to 254 steps, then classed, so
the colour on the screen is always the class of the value that a tap reads.
"""

from __future__ import annotations

import base64
import io
import zlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from PIL import Image

from lossmap.base.grid import Floats, Grid
from lossmap.report.classes import Classes
from lossmap.report.projection import WebPlace

__all__ = ["GAP", "Canvas", "Steps", "block_means", "canvas", "coarser", "packed", "picture", "reaching_the_edge", "steps"]

Bytes = npt.NDArray[np.uint8]

#: Stands for "not known" among the 256 values of a byte.
GAP = 255

# Pixels of a picture: four a cell make a clean edge; a wide field gets fewer, not a wider file.
MOST_PIXELS = 2_500_000

# Cells on the page; beyond it (1,000 ha at 5 m) the page shows means of blocks of cells.
MOST_CELLS = 500_000


@dataclass(frozen=True)
class Steps:
    """Values as bytes: ``value = start + step * byte``, 255 where nothing is known."""

    start: float
    step: float
    codes: Bytes

    def values(self) -> Floats:
        """The values as the page reads them back."""
        return np.where(self.codes == GAP, np.nan, self.start + self.step * self.codes.astype(float))


def steps(values: Floats) -> Steps:
    """`values` rounded to 254 equal steps between their least and their most."""
    known = np.isfinite(values)
    if not known.any():
        return Steps(0.0, 1.0, np.full(values.shape, GAP, dtype=np.uint8))
    # Rounded here as in the page's JSON, so that both sides read the same value.
    start = float(f"{float(values[known].min()):.9g}")
    step = float(f"{(float(values[known].max()) - start) / (GAP - 1):.9g}")
    codes = np.zeros(values.shape) if step <= 0 else np.clip(np.round((np.where(known, values, start) - start) / step), 0, GAP - 1)
    return Steps(start, max(step, 0.0), np.where(known, codes, GAP).astype(np.uint8))


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
        Class of each cell, 255 where nothing is known (drawn clear).
    """
    clear = len(found.colours)
    flat = np.append(np.where(codes == GAP, clear, codes).ravel(), clear)
    image = Image.fromarray(flat[onto.cell].astype(np.uint8))
    image.putpalette([int(colour[at : at + 2], 16) for colour in (*found.colours, "#ffffff") for at in (1, 3, 5)])
    out = io.BytesIO()
    image.save(out, "PNG", transparency=clear, bits=4, optimize=True)
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode("ascii")


def packed(*columns: npt.NDArray[np.unsignedinteger]) -> str:
    """Columns of whole numbers as steps from one value to the next, deflated, as base64.

    Neighbours are alike, so their differences are small and deflate well; those of two
    bytes go as a column of high and one of low bytes. The browser inflates with its own
    ``DecompressionStream("deflate-raw")``.
    """
    loose = b"".join(_differences(column.ravel()) for column in columns)
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    return base64.b64encode(squeeze.compress(loose) + squeeze.flush()).decode("ascii")


def _differences(column: npt.NDArray[np.unsignedinteger]) -> bytes:
    """Differences modulo the type's range, high bytes before low ones."""
    gaps = np.diff(column, prepend=column.dtype.type(0))
    if column.dtype == np.uint8:
        return gaps.tobytes()
    return (gaps >> 8).astype(np.uint8).tobytes() + (gaps & 255).astype(np.uint8).tobytes()
