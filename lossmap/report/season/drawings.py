"""How loss rises beyond the reference, over all fields and in each: a drawing of numbers alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from lossmap.base.season import PooledCurve, PooledDriver
from lossmap.base.tables import LAYER_WORDS
from lossmap.report.drawings import BAND
from lossmap.report.inline_svg import HAIR, INK, MARK, SOFT, Drawn, inline_svg, looks
from lossmap.report.words import Scale, Words, count_of

__all__ = ["MOST_LINES", "drawing_of_pooled"]

#: Thin lines in a drawing, at most: with more they are a grey mass.
MOST_LINES = 60


def drawing_of_pooled(found: PooledDriver, curve: PooledCurve, words: Words) -> Drawn | None:
    """Factor on loss beyond the reference: thin lines for fields, a line with its band for their mean; None without a curve."""
    if len(curve.beyond) < 2:
        return None
    along = _scale(found, words)
    lines = _spread(curve.fields)
    with looks():
        figure = Figure(figsize=(6.4, 3.4))
        axes = figure.add_axes((0.12, 0.19, 0.84, 0.77))
        at = np.array(curve.beyond) * along.factor
        low, mean, high = (np.array([getattr(one, end) for one in curve.factor]) for end in ("low", "mean", "high"))
        axes.fill_between(at, low, high, facecolor=BAND, edgecolor="none")
        for line in lines:
            axes.plot(at, line, color=SOFT, linewidth=0.9, alpha=0.75)
        axes.plot(at, mean, color=MARK, linewidth=3.2)
        axes.axhline(1.0, color=INK, linewidth=1.2, linestyle=(0, (5, 3)))
        _frame(axes, found, along, [low.tolist(), high.tolist(), *lines])
        caption = _caption(found, curve, along, len(lines))
        return Drawn(inline_svg(figure, f"pooled-{found.name}", caption), caption)


def _scale(found: PooledDriver, words: Words) -> Scale:
    return words.speed if found.name == "speed" else Scale(1.0, "points", 2, 1)


def _spread(fields: Mapping[str, tuple[float, ...]]) -> list[tuple[float, ...]]:
    """The fields' lines, evenly chosen from the flattest to the steepest where there are too many."""
    lines = sorted(fields.values(), key=lambda line: line[-1])
    if len(lines) <= MOST_LINES:
        return lines
    return [lines[number] for number in np.linspace(0, len(lines) - 1, MOST_LINES).round().astype(int)]


def _frame(axes: Axes, found: PooledDriver, along: Scale, drawn: Sequence[Sequence[float]]) -> None:
    axes.set_ylim(0.95 * min(0.9, *map(min, drawn)), 1.05 * max(1.1, *map(max, drawn)))
    axes.set_xlim(left=0)
    axes.set_ylabel("times the loss")
    side = "above" if found.name == "speed" else "below"
    axes.set_xlabel(f"{LAYER_WORDS[found.name]} {side} each field's own reference, {along.unit}")
    axes.grid(color=HAIR, linewidth=0.8)
    axes.set_axisbelow(True)


def _caption(found: PooledDriver, curve: PooledCurve, along: Scale, lines: int) -> str:
    """What the drawing says, in numbers: the line at its end, and what the thin ones are."""
    end, side = curve.factor[-1], "above" if found.name == "speed" else "below"
    drawn = f"each of {count_of(lines, 'field')}" if lines == len(curve.fields) else f"{lines} of {count_of(len(curve.fields), 'field')}"
    said = (
        f"Loss over {LAYER_WORDS[found.name]} {side} the reference, 1 being the loss at the reference. "
        f"Thick line and band: the mean of all fields with its 90 % interval, "
        f"{end.mean:.2f} times ({end.low:.2f} to {end.high:.2f}) at {along.text(curve.beyond[-1])} {side} it."
    )
    return f"{said} Thin: {drawn}, by its own counts and as far as they leave room by the season's." if lines else said
