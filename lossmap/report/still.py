"""The map as a still drawing: for print, and for viewers that run no scripts.

Mail and file previews of phones show a page without its scripts. They get the same
pictures, edge, zones and stops as plain SVG, laid out once here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from lossmap.base.field import FieldMap
from lossmap.report.projection import WebPlace
from lossmap.report.rows import letter_at, zone_code
from lossmap.report.words import Words

__all__ = ["MARGIN", "Drawing", "Spot", "Still", "ZoneShape", "outline_within_m", "scale_bar", "still"]

# The field's picture fills this box one way or the other, so that marks are as big on a tall field as on a wide one.
MOST_WIDE, MOST_HIGH = 900.0, 700.0
MARGIN = 24.0

# Cells of a zone's edge are stairs; drawn to within this part of a cell they are lines, a fifth of the size and easier to read.
NEAR_CELL = 0.75

# Room beside the field for the north mark, and below it for the scale bar.
RIGHT, BELOW = 56.0, 34.0


@dataclass(frozen=True)
class ZoneShape:
    """One patterned part: its code (speed, dryness, unknown), path and where its letter stands."""

    why: str
    path: str
    letter: str
    x: float
    y: float


@dataclass(frozen=True)
class Spot:
    """One stop."""

    x: float
    y: float


@dataclass(frozen=True)
class Still:
    """Everything of the drawing in its own units (about those of a screen)."""

    width: float
    height: float
    left: float
    top: float
    image_width: float
    image_height: float
    edge: str
    shapes: tuple[ZoneShape, ...]
    spots: tuple[Spot, ...]
    bar: float
    bar_text: str


def still(field_map: FieldMap, unknown: shapely.Geometry | None, place: WebPlace, words: Words) -> Still:
    """Lay out the drawing of a field.

    Parameters
    ----------
    unknown : geometry or None
        The part hatched "we do not know" [m in the field's crs].
    """
    draw = Drawing(place)
    near_m = outline_within_m(field_map)
    shapes = [ZoneShape("unknown", draw.path(shapely.simplify(unknown, near_m)), "", 0, 0)] if unknown is not None else []
    zones = zip(field_map.zones["zone_id"], field_map.zones["reason"], field_map.zones.geometry, strict=True)
    for number, (zone_id, reason, shape) in enumerate(zones):
        x, y = draw.xy(np.array([letter_at(shape, number)]))[0]
        shapes.append(ZoneShape(zone_code(reason), draw.path(shapely.simplify(shape, near_m)), str(zone_id), float(x), float(y)))
    spots = draw.xy(shapely.get_coordinates(field_map.losses.geometry.to_numpy()))
    bar_m, bar_text = scale_bar(draw.metres, words)
    return Still(
        draw.width,
        draw.height,
        MARGIN,
        MARGIN,
        draw.width - 2 * MARGIN - RIGHT,
        draw.height - 2 * MARGIN - BELOW,
        draw.path(field_map.outline),
        tuple(shapes),
        tuple(Spot(float(x), float(y)) for x, y in spots),
        bar_m * draw.scale * place.stretch,
        bar_text,
    )


def outline_within_m(field_map: FieldMap) -> float:
    """How near the drawn outline of a zone lies to its cells [m]."""
    return NEAR_CELL * field_map.settings.grid.cell


class Drawing:
    """From the field's metres to the drawing's units."""

    def __init__(self, place: WebPlace) -> None:
        self.place = place
        wide, high = place.east - place.west, place.north - place.south
        self.scale = min(MOST_WIDE / wide, MOST_HIGH / high)
        self.width = round(wide * self.scale + 2 * MARGIN + RIGHT, 1)
        self.height = round(high * self.scale + 2 * MARGIN + BELOW, 1)
        self.metres = (place.east - place.west) / place.stretch

    def xy(self, places: np.ndarray) -> np.ndarray:
        """Places [m] in the drawing, ``[place, (x, y)]``."""
        if len(places) == 0:
            return np.empty((0, 2))
        web = np.column_stack(self.place.to_web(places[:, 0], places[:, 1]))
        return np.round(MARGIN + (web - [self.place.west, self.place.north]) * [self.scale, -self.scale], 1)

    def path(self, shape: shapely.Geometry) -> str:
        """An SVG path of a polygon's rings: a corner each, as the way from the one before it."""
        rings = [ring for part in shapely.get_parts(shape) if part.geom_type == "Polygon" for ring in (part.exterior, *part.interiors)]
        return "".join(_ring(self.xy(shapely.get_coordinates(ring))[:-1]) for ring in rings)


def _ring(corners: np.ndarray) -> str:
    """Tenths as whole numbers until they are written, or the small ways would add up to a drift."""
    tenths = np.round(corners * 10).astype(int)
    ways = np.diff(tenths, axis=0)
    start = f"M{_tenth(tenths[0, 0])} {_tenth(tenths[0, 1])}"
    return start + "l" + " ".join(f"{_tenth(x)} {_tenth(y)}" for x, y in ways.tolist()) + "Z"


def _tenth(value: int) -> str:
    return f"{value / 10:g}"


def scale_bar(metres: float, words: Words) -> tuple[float, str]:
    """A scale bar of about a quarter of the width: its length [m] and text."""
    scale = words.distance if metres * 0.3 * words.distance.factor >= 1 else words.length
    most = metres * 0.3 * scale.factor
    power = 10 ** int(np.floor(np.log10(most)))
    shown = max(nice * power for nice in (1, 2, 5) if nice * power <= most)
    return shown / scale.factor, f"{shown:,g} {scale.unit}"
