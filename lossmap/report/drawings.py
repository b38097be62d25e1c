"""Drawings of the report as inline SVG: same numbers, same bytes, no text from files in them."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import markupsafe
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from lossmap.base.estimates import Driver, EffectCurve, Estimate
from lossmap.base.field import FieldMap
from lossmap.base.tables import DRIVE, SOURCES
from lossmap.report.inline_svg import HAIR, INK, MARK, SOFT, Drawn, inline_svg, looks
from lossmap.report.words import Scale, Words, count_of

__all__ = ["drawing_of_driver", "drawing_of_sources"]

DOT, BAND = "#e13a26", "#c4dbe4"


def drawing_of_sources(losses: Mapping[str, Estimate], words: Words, name: str = "sources") -> markupsafe.Markup | None:
    """Loss by source: a dot for the best value, a bar for the 90 % interval; None where nothing is known."""
    known = [(source, losses[source]) for source in (*SOURCES, "total") if losses.get(source)]
    if not known:
        return None
    with looks():
        height = 0.5 * len(known) + 0.9
        figure = Figure(figsize=(6.4, height))
        axes = figure.add_axes((0.2, 0.72 / height, 0.76, 1 - 0.84 / height))
        for row, (source, loss) in enumerate(known):
            _interval(axes, len(known) - 1 - row, loss.times(words.loss.factor), heavy=source == "total")
        axes.set_yticks(range(len(known)), ["all sources" if source == "total" else source for source, _ in reversed(known)])
        axes.tick_params(axis="y", length=0)
        axes.set_xlim(left=0)
        axes.set_ylim(-0.6, len(known) - 0.4)
        axes.set_xlabel(f"loss, {words.loss.unit} (bar: 90 % interval)")
        axes.grid(axis="x", color=HAIR, linewidth=0.8)
        axes.set_axisbelow(True)
        return inline_svg(figure, name)


def _interval(axes: Axes, at: float, shown: Estimate, heavy: bool) -> None:
    axes.plot([shown.low, shown.high], [at, at], color=INK, linewidth=7 if heavy else 4, solid_capstyle="butt", alpha=0.85)
    axes.plot([shown.mean], [at], marker="o", markersize=10, markerfacecolor="#ffffff", markeredgecolor=INK, markeredgewidth=2.2)


def drawing_of_driver(field_map: FieldMap, found: Driver, words: Words) -> Drawn | None:
    """What an average place loses at each speed (moisture), with each stop's own loss; None where fewer than two stops have both."""
    column, losses = DRIVE[found.name], field_map.losses
    if column not in losses.columns:
        return None
    losses = losses[losses[column].notna() & losses["total_kg_ha"].notna()]
    if len(losses) < 2:
        return None
    curve, along = field_map.curves.get(found.name, EffectCurve()), _scale(found, words)
    caption = _caption(losses, curve, words, along, _driven(found))
    with looks():
        figure = Figure(figsize=(6.4, 3.4))
        axes = figure.add_axes((0.12, 0.19, 0.84, 0.71))
        _curve(axes, curve, words.loss, along)
        _stops(axes, losses, column, words.loss, along)
        axes.set_ylim(0, 1.06 * _highest(losses, curve) * words.loss.factor)
        _reference(axes, found, along)
        axes.set_ylabel(f"loss, {words.loss.unit}")
        axes.set_xlabel(f"{_driven(found)}, {along.unit}")
        axes.grid(color=HAIR, linewidth=0.8)
        axes.set_axisbelow(True)
        drawing = inline_svg(figure, found.name, _alt(losses, column, along, words, caption))
    return Drawn(drawing, caption)


def _scale(found: Driver, words: Words) -> Scale:
    return words.speed if found.name == "speed" else words.moisture


def _driven(found: Driver) -> str:
    return "ground speed" if found.name == "speed" else "grain moisture"


def _curve(axes: Axes, curve: EffectCurve, loss: Scale, along: Scale) -> None:
    if not curve:
        return
    at = np.array(curve.at) * along.factor
    middle, low, high = (np.array([getattr(one, end) for one in curve.loss_kg_ha]) * loss.factor for end in ("mean", "low", "high"))
    axes.fill_between(at, low, high, facecolor=BAND, edgecolor="none")
    axes.plot(at, middle, color=MARK, linewidth=2.6)


def _stops(axes: Axes, losses: gpd.GeoDataFrame, column: str, loss: Scale, along: Scale) -> None:
    at = losses[column].to_numpy(float) * along.factor
    low, mean, high = (losses[f"total_{end}kg_ha"].to_numpy(float) * loss.factor for end in ("low_", "", "high_"))
    axes.vlines(at, low, high, color=SOFT, linewidth=1.6)
    axes.plot(at, mean, linestyle="none", marker="o", markersize=8, markerfacecolor=DOT, markeredgecolor=INK, markeredgewidth=1.2)


def _highest(losses: gpd.GeoDataFrame, curve: EffectCurve) -> float:
    """Top of the axis [kg/ha]: the stops' intervals; a band that knows nothing may run out of the drawing, not flatten it."""
    stops = float(losses["total_high_kg_ha"].max())
    return max([stops, *(min(one.high, 1.5 * stops) for one in curve.loss_kg_ha)])


def _reference(axes: Axes, found: Driver, along: Scale) -> None:
    """The speed or moisture from which on the effect is taken to act."""
    if not np.isfinite(found.reference):
        return
    axes.axvline(found.reference * along.factor, color=INK, linewidth=1.4, linestyle=(0, (5, 3)))
    low, high = axes.get_xlim()
    side = "left" if found.reference * along.factor < (low + high) / 2 else "right"
    axes.annotate(
        f"reference {along.text(found.reference)}",
        (found.reference * along.factor, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 3),
        textcoords="offset points",
        ha=side,
        va="bottom",
        color=INK,
    )


def _caption(losses: gpd.GeoDataFrame, curve: EffectCurve, words: Words, along: Scale, what: str) -> str:
    """What the drawing says, in numbers: the line at both its ends."""
    start = f"Loss over {what} at {count_of(len(losses), 'stop')}."
    if not curve:
        return start
    ends = [f"{words.loss.interval(curve.loss_kg_ha[place])} at {along.text(curve.at[place])}" for place in (0, -1)]
    return f"{start} An average place of this field loses {ends[0]} and {ends[1]}."


def _alt(losses: gpd.GeoDataFrame, column: str, along: Scale, words: Words, caption: str) -> str:
    """The caption, and how far the stops reach."""
    at, loss = losses[column], losses["total_kg_ha"]
    return (
        f"{caption} The stops lie between {along.number(float(at.min()))} and {along.text(float(at.max()))} "
        f"and lost between {words.loss.number(float(loss.min()))} and {words.loss.text(float(loss.max()))}."
    )
