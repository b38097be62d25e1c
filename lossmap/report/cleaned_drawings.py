"""Drawings of what was cleaned: yields before and after, where the flagged records lie, and how each delay was found."""

from __future__ import annotations

import math
from dataclasses import dataclass

import markupsafe
import numpy as np
import shapely
from matplotlib.figure import Figure

from lossmap.base.estimates import Delay
from lossmap.base.field import FieldMap
from lossmap.base.grid import Floats
from lossmap.report.flag_groups import GROUPS, FlagGroup
from lossmap.report.inline_svg import HAIR, INK, MARK, SOFT, Drawn, inline_svg, looks
from lossmap.report.still import scale_bar
from lossmap.report.words import Words, count_of, plain

__all__ = ["FlagDrawing", "drawing_of_delay", "drawing_of_flags", "drawing_of_yields", "key_mark"]

KEPT, ALL = "#8fb8c9", "#1a1712"

# Bins of the two histograms, and how far beyond the believed yields they reach.
BINS, BEYOND = 44, 0.35

# The drawing of flags fills this box one way or the other; below the field is room for the scale bar.
MOST_WIDE, MOST_HIGH, LEAST_WIDE, EDGE, BELOW = 640.0, 460.0, 320.0, 10.0, 30.0

# More marks than this nobody can tell apart, and the page would grow with the log.
MOST_MARKS = 20_000


@dataclass(frozen=True)
class FlagDrawing:
    """Where flagged records lie, with its key: mark, title and count of each group that occurs."""

    svg: markupsafe.Markup
    key: tuple[tuple[markupsafe.Markup, str, str], ...]
    caption: str


def drawing_of_yields(field_map: FieldMap, words: Words) -> Drawn | None:
    """Two histograms on one axis: yields of all records, and of those that were believed; None with fewer than two yields."""
    points, scale = field_map.points, words.harvest
    if "yield_kg_ha" not in points or "flag" not in points:
        return None
    every = points["yield_kg_ha"].to_numpy(float) * scale.factor
    known = np.isfinite(every)
    every, kept = every[known], every[known & (points["flag"] == "").to_numpy(bool)]
    if len(kept) < 2 or kept.max() <= 0:
        return None
    edges = _edges(kept)
    beyond = int(((every < edges[0]) | (every > edges[-1])).sum())
    with looks():
        figure = Figure(figsize=(6.4, 3.0))
        axes = figure.add_axes((0.13, 0.22, 0.84, 0.66))
        axes.stairs(np.histogram(kept, edges)[0], edges, fill=True, color=KEPT, label="believed")
        axes.stairs(np.histogram(every, edges)[0], edges, color=ALL, linewidth=1.4, label="all")
        axes.set_xlim(edges[0], edges[-1])
        axes.set_ylabel("records")
        axes.set_xlabel(f"yield, {scale.unit}")
        axes.legend(frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.97), ncols=2, handlelength=1.2, borderaxespad=0.0)
        drawing = inline_svg(figure, "yields", _yields_alt(every, kept, scale.unit))
    more = f" {count_of(beyond, 'record')} outside the drawing." if beyond else ""
    return Drawn(drawing, f"Yields worked out anew for all records (line), and of those believed (filled).{more}")


def _edges(kept: Floats) -> Floats:
    """From nothing to well above what was believed, so that what was set aside shows on both sides."""
    low, high = np.quantile(kept, (0.002, 0.998))
    return np.linspace(min(0.0, low), high + BEYOND * max(high - low, 0.1 * high), BINS + 1)


def _yields_alt(every: Floats, kept: Floats, unit: str) -> str:
    def middle(values: Floats) -> str:
        low, half, high = np.quantile(values, (0.1, 0.5, 0.9))
        return f"half of them below {plain(half, 1)} {unit}, eight in ten between {plain(low, 1)} and {plain(high, 1)} {unit}"

    return f"Histograms of yield. All {len(every):,} records: {middle(every)}. The {len(kept):,} believed: {middle(kept)}."


def drawing_of_delay(sensor: str, found: Delay, words: Words) -> Drawn | None:
    """How much neighbouring passes differ at each delay tried; None where the delay was not estimated."""
    if len(found.curve) < 2:
        return None
    tried, share = np.array(found.curve, dtype=float).T
    seconds, tried = words.seconds, tried * words.seconds.factor
    with looks():
        figure = Figure(figsize=(4.9, 3.1))
        axes = figure.add_axes((0.17, 0.21, 0.79, 0.68))
        if math.isfinite(found.low) and math.isfinite(found.high):
            axes.axvspan(found.low * seconds.factor, found.high * seconds.factor, facecolor=HAIR, edgecolor=SOFT, linewidth=0.8)
        axes.plot(tried, 100 * share, color=INK, linewidth=1.8)
        axes.axvline(found.seconds * seconds.factor, color=MARK, linewidth=2.0, linestyle=(0, (5, 3)))
        axes.set_xlim(tried.min(), tried.max())
        axes.set_ylim(bottom=0)
        axes.set_xlabel(f"delay tried, {seconds.unit}")
        axes.set_ylabel("passes differ, %")
        axes.annotate(
            f"best {plain(found.seconds * seconds.factor, 1)} {seconds.unit}",
            (found.seconds * seconds.factor, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="left" if found.seconds * seconds.factor < tried.mean() else "right",
            va="bottom",
            color=MARK,
        )
        drawing = inline_svg(figure, f"delay-{sensor}", _delay_alt(sensor, found, words))
    return Drawn(drawing, f"{sensor.capitalize()}: how much neighbouring passes differ at each delay tried; 100 % is unmoved.")


def _delay_alt(sensor: str, found: Delay, words: Words) -> str:
    least = 100 * min(share for _, share in found.curve)
    unit = words.seconds.unit
    doubt = f", 90 % interval {plain(found.low, 1)} to {plain(found.high, 1)} {unit}" if math.isfinite(found.low) else ""
    return (
        f"Curve of how much neighbouring passes differ over the delay tried for {sensor}: "
        f"least, {plain(least, 0)} % of unmoved, at {plain(found.seconds, 1)} {unit}{doubt}."
    )


def drawing_of_flags(field_map: FieldMap, words: Words) -> FlagDrawing | None:
    """Flagged records on the field by group of reasons; None where no flagged record has a place on the field."""
    points, frame = field_map.points, _Frame(field_map.outline)
    flag = points["flag"].to_numpy(str)
    x, y = frame.place(*_ground(points.geometry.to_numpy()))
    inside = frame.holds(x, y)
    flagged = np.isin(flag, [reason for group in GROUPS for reason in group.reasons])
    rows = np.flatnonzero(flagged & inside)
    if not rows.size:
        return None
    drawn = rows[np.linspace(0, rows.size - 1, min(rows.size, MOST_MARKS)).astype(int)]
    of_group = {group.key: np.isin(flag, group.reasons) for group in GROUPS}
    present = [group for group in GROUPS if of_group[group.key].any()]
    # the many lie below the few
    marks = [_marks(group, x, y, drawn[of_group[group.key][drawn]]) for group in present]
    marks.sort(key=len, reverse=True)
    key = tuple((key_mark(group), group.title, f"{int(of_group[group.key].sum()):,}") for group in present)
    alt = "Map of flagged records, north up: " + ", ".join(f"{number} {title}" for _, title, number in key) + "."
    body = "".join((_definitions(present), frame.ground(), *marks, frame.bar(words)))
    size = f'viewBox="0 0 {frame.width:g} {frame.height:g}" style="max-width:{frame.width:g}px"'
    svg = markupsafe.Markup(f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{markupsafe.escape(alt)}" {size}>{body}</svg>')
    return FlagDrawing(svg, key, _flags_caption(int((flagged & ~inside).sum()), rows.size - drawn.size, int((flag == "section row").sum())))


def _ground(shapes: np.ndarray) -> tuple[Floats, Floats]:
    """Easting and northing [m]; NaN where a record has no place."""
    places = np.full((2, len(shapes)), np.nan)
    known = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    places[:, known] = shapely.get_x(shapes[known]), shapely.get_y(shapes[known])
    return places[0], places[1]


def _flags_caption(elsewhere: int, thinned: int, sections: int) -> str:
    parts = ["Where the records lie that were not believed; north is up."]
    if elsewhere:
        parts.append(f"{count_of(elsewhere, 'record')} with no place on or near the field not drawn.")
    if thinned:
        parts.append(f"{count_of(thinned, 'mark')} left out evenly, so that the others can be seen.")
    if sections:
        parts.append(f"{count_of(sections, 'section row')} not drawn: summed into their record.")
    return " ".join(parts)


class _Frame:
    """From the field's metres to the drawing's units."""

    def __init__(self, outline: shapely.Geometry) -> None:
        west, south, east, north = shapely.bounds(outline)
        # a margin for records beyond the edge: turns are driven there
        margin = 0.04 * max(east - west, north - south)
        self.west, self.north = west - margin, north + margin
        self.metres = (east - west + 2 * margin, north - south + 2 * margin)
        self.scale = min((MOST_WIDE - 2 * EDGE) / self.metres[0], (MOST_HIGH - 2 * EDGE) / self.metres[1])
        self.width = max(LEAST_WIDE, round(self.metres[0] * self.scale + 2 * EDGE))
        self.height = round(self.metres[1] * self.scale + 2 * EDGE + BELOW)
        self.left = (self.width - self.metres[0] * self.scale) / 2
        self.outline = outline

    def place(self, easting_m: Floats, northing_m: Floats) -> tuple[Floats, Floats]:
        return self.left + (easting_m - self.west) * self.scale, EDGE + (self.north - northing_m) * self.scale

    def holds(self, x: Floats, y: Floats) -> np.ndarray:
        right, bottom = self.left + self.metres[0] * self.scale, EDGE + self.metres[1] * self.scale
        with np.errstate(invalid="ignore"):
            return np.asarray((x >= self.left) & (x <= right) & (y >= EDGE) & (y <= bottom))

    def ground(self) -> str:
        """The field's edge."""
        path = ""
        for part in shapely.get_parts(self.outline):
            for ring in (part.exterior, *part.interiors) if part.geom_type == "Polygon" else ():
                x, y = self.place(*shapely.get_coordinates(shapely.simplify(ring, 0.4 / self.scale))[:-1].T)
                path += "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True)) + "Z"
        return f'<path d="{path}" fill="#efe8d8" stroke="{INK}" stroke-width="1.5" fill-rule="evenodd"/>'

    def bar(self, words: Words) -> str:
        """A scale bar of about a quarter of the field's width."""
        metres, text = scale_bar(self.metres[0], words)
        y, x = self.height - 10, EDGE + 2
        end = x + metres * self.scale
        return (
            f'<path d="M{x:g} {y - 5}V{y}H{end:.1f}V{y - 5}" fill="none" stroke="{INK}" stroke-width="1.5"/>'
            f'<text x="{end + 6:.1f}" y="{y}" font-family="sans-serif" font-size="20" fill="{INK}">{markupsafe.escape(text)}</text>'
        )


def _definitions(groups: list[FlagGroup]) -> str:
    """One mark a group, drawn by the browser at every corner of the group's path: a record costs a few bytes."""
    marks = "".join(
        f'<marker id="flag-{group.key}" markerUnits="userSpaceOnUse" markerWidth="10" markerHeight="10" viewBox="-5 -5 10 10">'
        f"{_shape(group)}</marker>"
        for group in groups
    )
    return f"<defs>{marks}</defs>"


def _shape(group: FlagGroup) -> str:
    paint = f'fill="{group.colour}"' if group.filled else f'fill="none" stroke="{group.colour}" stroke-width="1.3"'
    return f'<path d="{group.shape}" {paint}/>'


def _marks(group: FlagGroup, x: Floats, y: Floats, rows: np.ndarray) -> str:
    """A path through the group's records on whole units, each place once."""
    places = np.column_stack([x[rows], y[rows]]).round().astype(int)
    places = places[np.sort(np.unique(places, axis=0, return_index=True)[1])]
    if not len(places):
        return ""
    steps = np.diff(places, axis=0)
    # a path of one corner would have no mark, so every path takes a step of nothing first
    path = f"M{places[0, 0]} {places[0, 1]}l0 0" + "".join(f"{a if a < 0 else f' {a}'}{b if b < 0 else f' {b}'}" for a, b in steps)
    ends = " ".join(f'marker-{where}="url(#flag-{group.key})"' for where in ("start", "mid", "end"))
    return f'<path d="{path}" fill="none" stroke="none" {ends}/>'


def key_mark(group: FlagGroup | None) -> markupsafe.Markup:
    """A group's mark for a line of text; nothing for what is not drawn."""
    if group is None:
        return markupsafe.Markup("")
    return markupsafe.Markup(f'<svg class="mark" viewBox="-5 -5 10 10" aria-hidden="true">{_shape(group)}</svg>')
