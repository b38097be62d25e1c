"""count-sheet.html: the planned stops, to be filled in where they are, on a phone without a network or on paper.

One file holds both: scripts make a form of it that keeps what is typed on the device and
hands it out as a list of counts that `lossmap map` reads; without them, and in print, it is
a table with empty boxes. Words from files are values of an autoescaped template or stand
in one block of JSON, from which the page's script takes them as text. The page's security
policy forbids any request, and any script but the two whose hashes it names.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from typing import Any

import markupsafe
import numpy as np
import shapely

from lossmap.base import reference
from lossmap.base.grid import Floats
from lossmap.base.tables import POSITIONS
from lossmap.base.units import factor
from lossmap.report.numbers import doubt_line
from lossmap.report.projection import web_place
from lossmap.report.run_file import version
from lossmap.report.sentences import POSITION_WORDS
from lossmap.report.still import MARGIN, Drawing, scale_bar
from lossmap.report.stops.plan import StopsPlan, needed_in_words, said_of_plan, values_of_plan
from lossmap.report.templates import LIVE, asset, filled, json_block, policy, script
from lossmap.report.words import Scale, Words

__all__ = ["count_sheet"]

#: Parts of the page's own script, in the order in which they are read.
SCRIPT = ("numbers", "shelf", "arithmetic", "places", "list", "stop", "frames", "pin", "out", "delete", "start")

#: Left, top, right and bottom in a drawing.
Box = tuple[float, float, float, float]

# Area of a frame where nobody said another, and of the ground looked over for ears [of the column's unit];
# 1 sq ft and 1/100 acre are what handbooks count on (MSU12, HANNA), the others common practice, no source.
FRAMES = {"us": ("frame_ft2", "ft2", 1.0, 435.6), "metric": ("frame_m2", "m2", 0.25, 40.0)}

# Rows of the paper for places that nobody planned.
OWN_ROWS = 4

# In the sketch's units: half a spot, a letter's width and height, and the corner that the north mark takes.
SPOT, LETTER, NORTH = 11.0, (18.0, 23.0), (72.0, 90.0)

# Beyond it a fix of the device's position says nothing about where in a field it is [m].
ROUGH_FIX_M = 30.0


def count_sheet(plan: StopsPlan) -> str:
    """The content of count-sheet.html: same plan, same bytes."""
    words, stops = Words(plan.field.crop, plan.settings.report.units), _stops(plan)
    drawing = Drawing(web_place(plan.outline, plan.stops.crs)) if plan.outline is not None else None
    scripts = {"first": LIVE, "own": script("sheet", SCRIPT)}
    return filled(
        "sheet.html.j2",
        policy=policy(scripts.values()),
        scripts={name: markupsafe.Markup(text) for name, text in scripts.items()},
        styles=markupsafe.Markup(asset("page.css") + asset("field.css") + asset("sheet.css")),
        for_script=json_block(_for_script(plan, stops, drawing, words)),
        title=plan.field.facts.name,
        crop=plan.field.crop.name.replace("_", " ").capitalize(),
        says=[said_of_plan(plan), *needed_in_words(plan)],
        notes=plan.notes,
        cautions=[caution for where in ("count", "fire", "adjust") for caution in reference.cautions(where)],
        positions=_positions(),
        how={position: reference.counting(position, plan.field.crop.name) for position in (*POSITIONS, "all")},
        stops=stops,
        is_cut=_is_cut(plan),
        most_frames=_most_frames(stops),
        own_rows=OWN_ROWS,
        sketch=_sketch(plan, drawing, words),
        frame_unit=words.frame.unit,
        frame_area=FRAMES[words.units][2],
        ears=_ears_line(plan, words),
        doubt=doubt_line(),
        worth=_worth_line(plan, words),
        residue=_residue_line(plan, words),
        version=version(),
    )


def _positions() -> dict[str, str]:
    """The positions as heads."""
    return {position: f"{words[0].upper()}{words[1:]}" for position, words in POSITION_WORDS.items()}


def _stops(plan: StopsPlan) -> list[dict[str, Any]]:
    """Name, place, reason and frames of each stop."""
    return [
        {
            "name": str(row["stop"]),
            "lat": row["latitude"],
            "lon": row["longitude"],
            # how far the next stop is was for planning, and is of no use on the way
            "why": row["why"].partition(";")[0],
            "frames": row["frames"],
        }
        for row in values_of_plan(plan)["stops"]
    ]


def _is_cut(plan: StopsPlan) -> bool:
    """Whether the plan lies on ground that a log shows as cut."""
    return "speed_m_s" in plan.stops and bool(plan.stops["speed_m_s"].notna().any())


def _sketch(plan: StopsPlan, drawing: Drawing | None, words: Words) -> dict[str, Any] | None:
    """The field's edge and its stops, to find one's way by; None where the edge is not known."""
    if plan.outline is None or drawing is None:
        return None
    bar_m, bar_text = scale_bar(drawing.metres, words)
    spots = drawing.xy(shapely.get_coordinates(plan.stops.geometry.to_numpy())).tolist()
    names = [str(name) for name in plan.stops["stop"]]
    return {
        "width": drawing.width,
        "height": drawing.height,
        "edge": drawing.path(plan.outline),
        "spots": spots,
        "labels": _labels(names, spots, drawing.width),
        "bar": bar_m * drawing.scale * drawing.place.stretch,
        "bar_text": bar_text,
    }


def _labels(names: list[str], spots: list[list[float]], width: float) -> list[dict[str, Any]]:
    """Each name beside its spot, on whichever side it covers least of other spots, other names and the north mark."""
    around = [(x - SPOT, y - SPOT, x + SPOT, y + SPOT) for x, y in spots]
    under = np.array([*around, (width - NORTH[0], 0.0, width, NORTH[1])]).T
    out = []
    for name, (x, y) in zip(names, spots, strict=True):
        wide = LETTER[0] * len(name)
        sides = [(left, base - LETTER[1]) for base in (y - 6, y + 28, y + 11) for left in (x + SPOT + 3, x - SPOT - 3 - wide)]
        boxes = [(left, top, left + wide, top + LETTER[1]) for left, top in sides]
        best = boxes[int(np.argmin([_covered(box, under) if box[0] >= 0 and box[2] < width else np.inf for box in boxes]))]
        under = np.column_stack([under, best])
        out.append({"name": name, "x": round(best[0], 1), "y": round(best[3], 1)})
    return out


def _covered(box: Box, under: Floats) -> float:
    """How much of what lies under a box it covers; `under` is ``[side, box]``."""
    left, top, right, bottom = under
    wide, high = np.minimum(right, box[2]) - np.maximum(left, box[0]), np.minimum(bottom, box[3]) - np.maximum(top, box[1])
    return float(np.sum(np.maximum(wide, 0) * np.maximum(high, 0)))


def _worth_line(plan: StopsPlan, words: Words) -> str:
    """What seeds on the ground amount to, for paper; "" where a seed's mass is not known."""
    mass = plan.seed_mass_g
    if not mass:
        return ""
    shown = 1.0 if words.loss.unit == "bu/ac" else 100.0
    # 1 kg/ha is 0.1 g/m2; seed mass is that of a thousand, and a small seed makes more of them
    seeds = np.array([mass.mean, mass.high, mass.low]) ** -1 * (100.0 * shown / words.loss.factor)
    middle, least, most = (words.seeds.number(value, words.seeds.places(float(seeds[0]))) for value in seeds)
    return f"{shown:g} {words.loss.unit} is about {middle} {words.seeds.unit} ({least} to {most}: seed differs in size)."


def _residue_line(plan: StopsPlan, words: Words) -> str:
    """How much denser residue lies than it was cut, and so what a count behind the combine is; "" where it is spread evenly."""
    width, spread = plan.field.facts.header_width, plan.field.discharge_width_m
    if math.isclose(width, spread, rel_tol=1e-3):
        return ""
    return (
        f"Residue of {words.length.text(width)} falls on {words.length.text(spread)}: seed that went through the combine lies "
        f"{width / spread:.2g} times as dense there, and is reckoned so."
    )


def _ears_line(plan: StopsPlan, words: Words) -> str:
    """How far to walk along the header for ears; "" for crops that have none."""
    if plan.field.crop.ear_grain_g is None:
        return ""
    _, unit, _, area = FRAMES[words.units]
    width = plan.field.facts.header_width
    along = area * factor(unit, "m2") / width * words.length.factor
    return f"{along:.1f} {words.length.unit} along the header's {words.length.text(width)} make {area:g} {words.frame.unit}."


def _for_script(plan: StopsPlan, stops: list[dict[str, Any]], drawing: Drawing | None, words: Words) -> dict[str, Any]:
    """Every number and word that the page's own script needs."""
    facts, ear, mass = plan.field.facts, plan.field.crop.ear_grain_g, plan.seed_mass_g
    column, unit, frame, ear_area = FRAMES[words.units]
    return {
        "field": plan.field.id,
        "sheet": _digest(plan.field.id, plan.field.crop.name, words.units, stops),
        "stops": stops,
        "positions": _positions(),
        # where the log shows the ground cut, only what lies behind the combine is left to count
        "start": POSITIONS[-1] if _is_cut(plan) else POSITIONS[0],
        "frame": {"column": column, "unit": words.frame.unit, "m2": factor(unit, "m2"), "usual": frame, "ears": ear_area},
        "ears": {"grams": ear.mean, "doubt": plan.settings.loss.ear_mass_doubt / 100} if ear is not None else None,
        "mass": {"grams": mass.mean, "sd": mass.log_sd} if mass else None,
        "clumping": plan.clumping,
        "ratio": facts.header_width / plan.field.discharge_width_m,
        "loss": _scale(words.loss),
        "length": _scale(words.length),
        "near": plan.settings.loss.join_distance,
        "rough": ROUGH_FIX_M,
        "sketch": {"west": drawing.place.west, "north": drawing.place.north, "scale": drawing.scale, "margin": MARGIN} if drawing else None,
        "most": _most_frames(stops),
        "file": re.sub("[^A-Za-z0-9_-]+", "-", plan.field.id).strip("-") or "field",
    }


def _most_frames(stops: list[dict[str, Any]]) -> int:
    return max((stop["frames"] for stop in stops), default=1)


def _digest(*parts: Any) -> str:
    """Tells sheets apart: counts of one plan must not turn up on the sheet of the next and be handed in twice."""
    return hashlib.sha256(json.dumps(parts, ensure_ascii=False).encode("utf-8", "replace")).hexdigest()[:10]


def _scale(scale: Scale) -> dict[str, Any]:
    return {"factor": scale.factor, "unit": scale.unit, "significant": scale.significant, "most": scale.most}
