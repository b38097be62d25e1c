"""The layers of the map: what each shows, in which words, classes and colours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.spatial
import shapely

from lossmap.base.field import FieldMap
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.report.classes import Classes, classes, spans
from lossmap.report.picture import Canvas, Steps, block_means, canvas, coarser, picture, reaching_the_edge, steps
from lossmap.report.projection import WebPlace
from lossmap.report.words import Scale, Words, plain

__all__ = ["UNKNOWN_BEYOND_M", "UNKNOWN_RATIO", "Layer", "Sheet", "is_flat", "sheet", "span", "unknown_part"]

#: "We do not know": no stop within this distance (250 ft), and an interval that spans more than this many times.
UNKNOWN_BEYOND_M = 76.2
UNKNOWN_RATIO = 4.0

# Smaller scraps of it are left out: a cell or two at a corner tells nobody where to count.
LEAST_UNKNOWN_HA = 0.1

# Layer, its name, the surface it is made from.
_LAYERS = (
    ("loss", "Loss", "loss_kg_ha"),
    ("sure", "How sure", "loss_kg_ha"),
    ("yield", "Yield", "yield_kg_ha"),
    ("moisture", "Moisture", "moisture_pct"),
    ("speed", "Speed", "speed_m_s"),
)


@dataclass(frozen=True)
class Layer:
    """One surface as the map shows it.

    Attributes
    ----------
    key, name : str
        "sure", "How sure".
    title : str
        Name and unit over the key: "Loss, bu/ac".
    scale : Scale
    places : int
        Decimals in which a tap reads it.
    steps : Steps
    classes : Classes
    picture : str
        Data URI.
    shares : tuple of float
        Part of the field in each class [%].
    other : tuple of str
        The classes in the other unit; empty where there is none.
    same : str
        The one value, where the layer has no classes; else "".
    span : str
        Its least and its most; "" where it is one value.
    note : str
        How it was made.
    """

    key: str
    name: str
    title: str
    scale: Scale
    places: int
    steps: Steps
    classes: Classes
    picture: str
    shares: tuple[float, ...]
    other: tuple[str, ...]
    same: str
    span: str
    note: str


@dataclass(frozen=True)
class Sheet:
    """All layers of a field on one grid, with the bounds of loss that a tap reads.

    Attributes
    ----------
    cell_times : int
        Cells of the field's grid to a side of one of the page's cells.
    low, high : Steps or None
        90 % interval of loss.
    """

    grid: Grid
    cell_times: int
    layers: tuple[Layer, ...]
    low: Steps | None
    high: Steps | None


def sheet(field_map: FieldMap, place: WebPlace, words: Words) -> Sheet | None:
    """The field's layers, those that exist, in the order in which they are offered; None without any."""
    if not field_map.surfaces:
        return None
    full = next(iter(field_map.surfaces.values())).grid
    grid, times = coarser(full)
    inside = grid.inside(field_map.outline)
    onto = canvas(grid, field_map.outline, place)

    def drawn(values: Floats) -> Floats:
        return reaching_the_edge(block_means(values, times), inside)

    layers = tuple(
        _layer(key, name, field_map.surfaces[surface], drawn(_values(key, field_map.surfaces[surface])), onto, words)
        for key, name, surface in _LAYERS
        if surface in field_map.surfaces
    )
    loss = field_map.surfaces.get("loss_kg_ha")
    low, high = (
        (steps(drawn(part), layers[0].scale.factor, layers[0].places) for part in (loss.low, loss.high))
        if loss is not None
        else (None, None)
    )
    return Sheet(grid, times, layers, low, high)


def _values(key: str, surface: Surface) -> Floats:
    return (surface.high - surface.low) / 2 if key == "sure" else surface.mean


def _layer(key: str, name: str, surface: Surface, values: Floats, onto: Canvas, words: Words) -> Layer:
    scale = _scale(key, words)
    found = classes(values, scale, key, _doubt(key, surface))
    codes = found.of(values * scale.factor)
    places = _places(key, scale, values)
    number = np.array([(codes == one).sum() for one in range(len(found.colours))], dtype=float)
    shares = tuple(float(share) for share in 100 * number / max(number.sum(), 1.0))
    return Layer(
        key=key,
        name=name,
        title=_title(key, name, scale),
        scale=scale,
        places=places,
        steps=steps(values, scale.factor, places, found.edges),
        classes=found,
        picture=picture(codes, found, onto),
        shares=shares,
        other=_other(key, found, words),
        same="" if found.edges else scale.text(float(np.nanmean(values)) if np.isfinite(values).any() else np.nan),
        span=span(values, scale) if found.edges else "",
        note=surface.note,
    )


def _doubt(key: str, surface: Surface) -> float:
    """Half the usual interval of a loss [its unit]; of how sure that is a fifth of itself: nobody plans by 0.59 or 0.61."""
    if key not in {"loss", "sure"} or not np.isfinite(surface.high).any():
        return 0.0
    return float(np.nanmedian(surface.high - surface.low)) / (2 if key == "loss" else 10)


def _places(key: str, scale: Scale, values: Floats) -> int:
    """Decimals for a reading; a loss below 50 gets one at least, or its interval would read "2 between 1 and 3"."""
    usual = float(np.nanmedian(values)) if np.isfinite(values).any() else float("nan")
    places = scale.places(usual)
    return max(places, 1) if key == "loss" and not usual * scale.factor >= 50 else places


def span(values: Floats, scale: Scale) -> str:
    """Between what `values` [SI] lie, for the ends of a key whose outer classes are open."""
    return f"from {scale.number(float(np.nanmin(values)))} to {scale.text(float(np.nanmax(values)))}"


def _scale(key: str, words: Words) -> Scale:
    return {"yield": words.harvest, "moisture": words.moisture, "speed": words.speed}.get(key, words.loss)


def _title(key: str, name: str, scale: Scale) -> str:
    return f"{name}: give or take, {scale.unit}" if key == "sure" else f"{name}, {scale.unit}"


def _other(key: str, found: Classes, words: Words) -> tuple[str, ...]:
    """The classes in the second unit of those who think in it."""
    there = Words(words.crop, "metric" if words.us else "us")
    here, second = _scale(key, words), _scale(key, there)
    if here.unit == second.unit or not found.edges:
        return ()
    edges = [edge / here.factor * second.factor for edge in found.edges]
    places = second.places(edges[0] / second.factor)
    return tuple(f"{text} {second.unit}" for text in spans([plain(edge, places) for edge in edges]))


def is_flat(surface: Surface) -> bool:
    """Whether a surface says the same everywhere: a field mean, with too few counts for a map."""
    known = surface.mean[np.isfinite(surface.mean)]
    return known.size == 0 or float(np.ptp(known)) <= 1e-4 * max(abs(float(known.mean())), 1e-9)


def unknown_part(field_map: FieldMap) -> shapely.Geometry | None:
    """Where nobody counted near and the interval is wide: the part hatched "we do not know".

    A map of means looks equally sure everywhere; here it is not.
    """
    loss = field_map.surfaces.get("loss_kg_ha")
    if loss is None or field_map.losses.empty:
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = loss.high > UNKNOWN_RATIO * loss.low
    row, col = np.nonzero(wide & np.isfinite(loss.mean))
    if row.size == 0:
        return None
    easting, northing = loss.grid.centres()
    stops = np.column_stack([field_map.losses.geometry.x, field_map.losses.geometry.y])
    distance, _ = scipy.spatial.cKDTree(stops).query(np.column_stack([easting[col], northing[row]]))
    mask = np.zeros(loss.grid.shape, dtype=bool)
    mask[row[distance > UNKNOWN_BEYOND_M], col[distance > UNKNOWN_BEYOND_M]] = True
    return _without_scraps(shapely.intersection(loss.grid.polygon(mask), field_map.outline)) if mask.any() else None


def _without_scraps(shape: shapely.Geometry) -> shapely.Geometry | None:
    parts = [part for part in shapely.get_parts(shape) if part.area >= LEAST_UNKNOWN_HA * 10_000]
    return shapely.MultiPolygon(parts) if parts else None
