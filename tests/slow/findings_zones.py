"""How well zones outline the places where loss truly goes with speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from slow.fields import USUAL, Bools, Mapped, Row, alike, mapped, over_fields, plans, rate

from lossmap import synthetic
from lossmap.synthetic import FieldPlan

FIRST = 900
#: Overlap to beat where the effect acts in 45 % of the field, by number of stops.
LINES = {96: 0.53, 192: 0.63}


@dataclass(frozen=True)
class Outlined:
    """Of one field: whether a zone was drawn, and how far zones and truly affected cells are the same (intersection over union)."""

    drawn: bool
    likeness: float


def outlined(plan: FieldPlan, rng_seed: int) -> Outlined:
    """Make, count, map and outline one field."""
    here = mapped(synthetic.make(plan, rng_seed))
    zones = here.zones()
    speed = zones[zones["reason"] == "speed"]
    if not len(speed):
        return Outlined(False, 0.0)
    drawn = here.found.surface.grid.inside(shapely.union_all(speed.geometry.to_numpy()))[here.inside]
    true = affected(here)
    return Outlined(True, float((drawn & true).sum() / (drawn | true).sum()))


def affected(here: Mapped) -> Bools:
    """Cells that truly lose more with speed than the least excess that matters, ``[cell]``."""
    plan, total = here.made.plan, here.true()
    beyond = np.maximum(here.true("speed_m_s") - plan.speed_knot_m_s, 0) / 0.5
    factor = plan.speed_effect ** (beyond * here.made.truth.acts[here.inside])
    excess = here.true("header_kg_ha") * (1 - 1 / factor)
    return np.asarray(excess > USUAL.zones.least_excess / 100 * total.mean())


def rows(fields: int = 20) -> list[Row]:
    """A strong effect of speed, in part of the field and in all of it."""
    found = []
    for area in (0.45, 1.0):
        for stops in (24, 48, 96, 192):
            jobs = plans(alike, range(FIRST, FIRST + fields), stops=stops, frames=4, speed_effect=2.22, effect_area=area)
            found.append(_row(area, stops, over_fields(outlined, jobs), LINES.get(stops) if area < 1 else None))
    return found


def _row(area: float, stops: int, outcome: list[Outlined], line: float | None) -> Row:
    drawn = [each.drawn for each in outcome]
    likeness = [each.likeness for each in outcome if each.drawn]
    among = float(np.mean(likeness)) if likeness else 0.0
    return Row(
        f"zones, strong effect of speed in {100 * area:.0f} % of the field, {stops} random stops x4, {len(outcome)} fields",
        f"drawn in {rate(drawn)}; intersection over union with the truly affected cells **{among:.2f}** where drawn",
        f"{line:.2f} in another simulator, by a slope that varies" if line else "",
        None,
    )
