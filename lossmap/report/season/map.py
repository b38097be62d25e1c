"""Where a season's fields lie and what each lost: one projection, drawn as SVG, in parts where fields lie far apart.

A ten-acre field among fields sixty miles off would be a speck: fields are parted at wide gaps
between them for as long as some are too small to be seen, and what is still a speck gets a dot.
"""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from lossmap.base.grid import Floats
from lossmap.report.season.labels import Boxes, Label, labels
from lossmap.report.still import scale_bar
from lossmap.report.words import Words

__all__ = ["MOST_PARTS", "Part", "Shape", "season_map"]

#: Drawings beside the one of everything, at most; a field drawn smaller than this asks for one; a smaller one still gets a dot.
MOST_PARTS, SMALL, SPECK = 8, 14.0, 9.0
#: How large the dot is.
DOT = 5.0
#: A gap is one where it takes this share of what a drawing spans; the second where both sides hold that share of the fields.
GAP, EVEN_GAP, EVEN = 0.15, 0.02, 0.25

MOST_WIDE, MOST_HIGH, LEAST_HIGH = 600.0, 440.0, 150.0
LEFT, TOP, RIGHT, BELOW = 18.0, 18.0, 66.0, 44.0
# No drawing spans less than this [m]: a lone field need not fill one.
LEAST_SPAN_M = 900.0


@dataclass(frozen=True)
class Shape:
    """One field: its outline, its class (255 where its loss is not known), and where its dot lies."""

    path: str
    colour: int
    x: float
    y: float
    speck: bool


@dataclass(frozen=True)
class Part:
    """One drawing in its own units (about those of a screen).

    Attributes
    ----------
    letter : str
        "" for the drawing of everything.
    fields : int
    frames : tuple of (letter, x, y, width, height)
        Of the other parts, in the drawing of everything.
    unlabelled : int
        Fields for whose label there was no room.
    """

    letter: str
    fields: int
    width: float
    height: float
    shapes: tuple[Shape, ...]
    labels: tuple[Label, ...]
    frames: tuple[tuple[str, float, float, float, float], ...]
    unlabelled: int
    bar: float
    bar_text: str


def season_map(outlines: gpd.GeoSeries, names: Sequence[str], colours: npt.NDArray[np.uint8], words: Words) -> tuple[Part, ...]:
    """Draw the fields, those with most grain left first.

    Parameters
    ----------
    outlines : GeoSeries
        In the order of the table; an empty one is left out, but keeps its number.
    names : sequence of str
    colours : array ``[field]``
        Class of each field's loss; 255 where it is not known.
    words : Words

    Returns
    -------
    tuple of Part
        The drawing of everything, and where fields lie far apart their parts, nearest the north-west first; empty without outlines.
    """
    placed = np.flatnonzero(~outlines.is_empty.to_numpy())
    if placed.size == 0:
        return ()

    def laid_out(chosen: npt.NDArray[np.intp]) -> _Fields:
        ground = _ground(outlines.iloc[chosen])
        called = [(str(number + 1), names[number]) for number in chosen.tolist()]
        return _Fields(ground, shapely.bounds(ground), np.sqrt(shapely.area(ground)), called, colours[chosen])

    fields = laid_out(placed)
    boxes = fields.boxes
    parts = _parted(boxes, fields.sizes)
    if len(parts) == 1:
        return (_part("", fields, words),)
    parts.sort(key=lambda part: (boxes[part, 0].min() - boxes[part, 3].max(), int(part[0])))
    whole = _View(boxes)
    frames = tuple((letter, *whole.frame(boxes[part])) for letter, part in zip(string.ascii_uppercase, parts, strict=False))
    # each part anew: where fields lie far apart, north of the whole drawing is not theirs
    return _part("", fields, words, frames), *(
        _part(frame[0], laid_out(placed[part]), words) for frame, part in zip(frames, parts, strict=True)
    )


def _ground(outlines: gpd.GeoSeries) -> npt.NDArray[np.object_]:
    """Outlines in metres, true to area, north up in the middle of them all."""
    west, south, east, north = outlines.to_crs("EPSG:4326").total_bounds
    middle = f"+proj=laea +lat_0={(south + north) / 2:.6f} +lon_0={(west + east) / 2:.6f} +datum=WGS84 +units=m"
    return np.asarray(outlines.to_crs(middle).to_numpy(), dtype=object)


def _parted(boxes: Boxes, sizes: Floats) -> list[npt.NDArray[np.intp]]:
    """Fields by drawing: parted at a wide gap where small ones would be lost in it, those first in which most would."""
    parts: list[npt.NDArray[np.intp]] = [np.arange(len(boxes))]
    final: list[npt.NDArray[np.intp]] = []
    while parts and len(parts) + len(final) < MOST_PARTS:
        lost = [int((sizes[part] * _View(boxes[part]).scale < SMALL).sum()) for part in parts]
        part = parts.pop(int(np.argmax(lost)))
        halves = _halves(boxes[part]) if max(lost) else None
        if halves is None:
            final.append(part)
        else:
            parts += [part[halves], part[~halves]]
    return [*final, *parts]


def _halves(boxes: Boxes) -> npt.NDArray[np.bool_] | None:
    """Which fields lie on one side of the widest gap, across or up; None where no gap is wide enough.

    A lone field is parted from the rest by a wide gap only; where both sides hold many fields a narrow one will do.
    """
    spans = np.array([np.ptp(boxes[:, [0, 2]]), np.ptp(boxes[:, [1, 3]])])
    below = np.arange(1, len(boxes))
    evenness = np.minimum(below, len(boxes) - below) / len(boxes)
    best, most = None, 0.0
    for low, high, span in ((0, 2, spans[0]), (1, 3, spans[1])):
        order = np.argsort(boxes[:, low], kind="stable")
        reach = np.maximum.accumulate(boxes[order, high])
        gaps = boxes[order[1:], low] - reach[:-1]
        is_wide = gaps >= np.where(evenness >= EVEN, EVEN_GAP, GAP) * spans.max()
        # across the longer side and into halves, where gaps leave a choice
        scores = np.where(is_wide, gaps * span * (0.05 + evenness), 0.0)
        if scores.size and scores.max() > most:
            most = float(scores.max())
            best = boxes[:, low] <= reach[int(scores.argmax())]
    return best


class _View:
    """From metres to the units of a drawing that shows certain boxes."""

    def __init__(self, boxes: Boxes) -> None:
        low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
        span = np.maximum(high - low, LEAST_SPAN_M)
        wide, high_most = MOST_WIDE - LEFT - RIGHT, MOST_HIGH - TOP - BELOW
        self.scale = float(min(wide / span[0], high_most / span[1]))
        self.width = MOST_WIDE
        self.height = round(max(float(span[1]) * self.scale + TOP + BELOW, LEAST_HIGH), 1)
        self.middle = (low + high) / 2
        self.at = np.array([LEFT + wide / 2, TOP + (self.height - TOP - BELOW) / 2])
        self.metres = self.width / self.scale

    def xy(self, places: Floats) -> Floats:
        """Places [m] in the drawing, ``[place, (x, y)]``."""
        return np.asarray(np.round(self.at + (places - self.middle) * [self.scale, -self.scale], 1))

    def box(self, boxes: Boxes) -> Boxes:
        """Boxes in the drawing, ``[box, (left, top, right, bottom)]``."""
        return np.hstack([self.xy(boxes[:, [0, 3]]), self.xy(boxes[:, [2, 1]])])

    def frame(self, boxes: Boxes) -> tuple[float, float, float, float]:
        """Left, top, width and height of a frame round some fields."""
        drawn = self.box(boxes)
        left, top = drawn[:, :2].min(axis=0) - 7
        right, bottom = drawn[:, 2:].max(axis=0) + 7
        return round(left, 1), round(top, 1), round(right - left, 1), round(bottom - top, 1)

    def path(self, shape: shapely.Geometry) -> str:
        """An SVG path of a polygon's rings, without corners that nobody would see."""
        shape = shapely.simplify(shape, 0.5 / self.scale)
        rings = [ring for part in shapely.get_parts(shape) if part.geom_type == "Polygon" for ring in (part.exterior, *part.interiors)]
        return "".join("M" + "L".join(f"{x:g} {y:g}" for x, y in self.xy(shapely.get_coordinates(ring))[:-1]) + "Z" for ring in rings)


@dataclass(frozen=True)
class _Fields:
    """Fields of one drawing that have an outline: on the ground, and what they are called."""

    ground: npt.NDArray[np.object_]
    boxes: Boxes
    sizes: Floats
    called: Sequence[tuple[str, str]]
    colours: npt.NDArray[np.uint8]


def _part(letter: str, fields: _Fields, words: Words, frames: tuple[tuple[str, float, float, float, float], ...] = ()) -> Part:
    """One drawing; where others show its parts it carries their frames and letters instead of the fields' labels."""
    view = _View(fields.boxes)
    middles = view.xy(shapely.get_coordinates(shapely.point_on_surface(fields.ground)))
    shapes = tuple(
        Shape(view.path(shape), int(colour), float(x), float(y), bool(size * view.scale < SPECK))
        for shape, colour, size, (x, y) in zip(fields.ground, fields.colours, fields.sizes, middles, strict=True)
    )
    placed = (
        _frame_letters(frames)
        if frames
        else labels(fields.called, middles, _seen(view.box(fields.boxes), middles), (view.width, view.height))
    )
    bar_m, bar_text = scale_bar(view.metres, words)
    unlabelled = 0 if frames else len(shapes) - len(placed)
    return Part(letter, len(shapes), view.width, view.height, shapes, placed, frames, unlabelled, round(bar_m * view.scale, 1), bar_text)


def _seen(boxes: Boxes, middles: Floats) -> Boxes:
    """Boxes in the drawing, none smaller than a dot."""
    dots = np.hstack([middles - DOT - 1, middles + DOT + 1])
    return np.hstack([np.minimum(boxes[:, :2], dots[:, :2]), np.maximum(boxes[:, 2:], dots[:, 2:])])


def _frame_letters(frames: Sequence[tuple[str, float, float, float, float]]) -> tuple[Label, ...]:
    """Each frame's letter at its right edge, or at its left where the north mark would cover it."""
    return tuple(
        Label(letter, round(left + wide + 4 if left + wide + 20 < MOST_WIDE - RIGHT else left - 20, 1), round(top + high / 2 + 7, 1))
        for letter, left, top, wide, high in frames
    )
