"""The layers of the map: what each shows, in which words, classes and colours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lossmap.base.field import FieldMap
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.report.classes import Classes, classes, spans
from lossmap.report.map.picture import Canvas, Steps, block_means, canvas, coarser, picture, reaching_the_edge, steps
from lossmap.report.projection import WebPlace
from lossmap.report.words import Scale, Words, plain

__all__ = ["Layer", "Layers", "layers_of", "span"]

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
class Layers:
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


def layers_of(field_map: FieldMap, place: WebPlace, words: Words) -> Layers | None:
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
    return Layers(grid, times, layers, low, high)


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
