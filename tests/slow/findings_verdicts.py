"""How often the verdicts are right: false flags, power, and shares of what goes with a driver."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from slow.fields import MODERATE, NONE, STRONG, Row, alike, holds, mapped, over_fields, plans, rate

from lossmap import synthetic
from lossmap.base.tables import SOURCES
from lossmap.synthetic import FieldPlan, MadeField, Source

NULL_FIRST, POWER_FIRST, SHARE_FIRST, BROAD_FIRST = 1000, 100, 100, 8000
#: Log loss and moisture that lie this alike by chance cannot be told from a link.
ALIKE_R = 0.4
#: Fields looked through, for one that is judged, in search of such ones; and how far their loss is smooth [m].
LOOKED_THROUGH, BROAD_M = 4, 200.0


@dataclass(frozen=True)
class Said:
    """What one field's counts said: flags, zones drawn, shares held, and how alike log loss and moisture lie."""

    tracks: dict[str, bool]
    zones: int
    shares_held: dict[str, bool]
    likeness: float


def said(plan: FieldPlan, rng_seed: int) -> Said:
    """Make, count and judge one field."""
    return _judged(synthetic.make(plan, rng_seed))


def said_if_alike(plan: FieldPlan, rng_seed: int) -> Said | None:
    """The same of a field whose loss lies like its moisture, or the other way round; nothing of another."""
    made = synthetic.make(plan, rng_seed)
    return _judged(made) if abs(_likeness(made)) >= ALIKE_R else None


def _judged(made: MadeField) -> Said:
    here = mapped(made)
    tracks = {name: each.verdict == "tracks" for name, each in here.verdicts().items()}
    true = here.made.truth.share_kg_ha
    held = {name: holds(each.share_kg_ha, true[name]) for name, each in here.found.evidence.items()}
    return Said(tracks, len(here.zones()) if any(tracks.values()) else 0, held, _likeness(made))


def _likeness(made: MadeField) -> float:
    loss, moisture = (made.truth.surfaces[name].mean.ravel().astype(float) for name in ("total_kg_ha", "moisture_pct"))
    inside = np.isfinite(loss)
    return float(np.corrcoef(np.log(loss[inside]), moisture[inside])[0, 1])


def false_flag_rows(fields: int = 300) -> list[Row]:
    """No-effect fields that are flagged all the same, by design."""
    found = []
    for stops, frames, design in ((24, 1, "random"), (48, 4, "random"), (48, 4, "spread")):
        jobs = plans(alike, range(NULL_FIRST, NULL_FIRST + fields), stops=stops, frames=frames, design=design, **NONE)
        outcome = over_fields(said, jobs)
        either = [any(each.tracks.values()) for each in outcome]
        confounded = [flag for flag, each in zip(either, outcome, strict=True) if abs(each.likeness) >= ALIKE_R]
        by_driver = ", ".join(f"{name} {np.mean([each.tracks[name] for each in outcome]):.3f}" for name in outcome[0].tracks)
        drawn = np.mean([each.zones > 0 for each in outcome])
        apart = f"{rate(confounded)} of the {len(confounded)}" if confounded else "none"
        found.append(
            Row(
                f"no effect, {stops} {design} stops x{frames}, {fields} fields: flagged for either driver",
                f"**{rate(either)}** ({by_driver}); a zone in {drawn:.3f}; where loss lies like moisture (|r| >= {ALIKE_R}): {apart}",
                "<= .05",
                bool(np.mean(either) <= 0.05),
            )
        )
    return [*found, _alike_row(fields)]


def _alike_row(fields: int) -> Row:
    """No-effect fields whose loss happens to lie like moisture: no method can tell them from a link."""
    broad = [(dataclasses.replace(plan, **_broad(plan)), rng_seed) for plan, rng_seed in _no_effect(BROAD_FIRST, LOOKED_THROUGH * fields)]
    outcome = [each for each in over_fields(said_if_alike, broad) if each is not None]
    # the sign that a link would have: drier, more loss
    links = [each.tracks["dryness"] for each in outcome if each.likeness < 0]
    others = [any(each.tracks.values()) for each in outcome if each.likeness > 0]
    return Row(
        f"no effect, 48 random stops x4, loss smooth over {BROAD_M:.0f} m: the {len(outcome)} of {len(broad)} fields "
        f"where it lies like moisture (|r| >= {ALIKE_R})",
        f"flagged for dryness where more lies on drier ground **{rate(links)}**; for either driver where less does {rate(others)}",
    )


def _no_effect(first: int, fields: int) -> list[tuple[FieldPlan, int]]:
    return plans(alike, range(first, first + fields), stops=48, frames=4, **NONE)


def _broad(plan: FieldPlan) -> dict[str, Source]:
    return {name: dataclasses.replace(getattr(plan, name), range_m=BROAD_M) for name in SOURCES}


#: What is planted, where stops lie, whose flag is looked for, and how often it is to be found.
POWER: tuple[tuple[str, dict[str, float], int, str, str, float], ...] = (
    ("strong", STRONG, 24, "spread", "speed", 0.80),
    ("strong", STRONG, 36, "spread", "dryness", 0.80),
    ("moderate", MODERATE, 48, "spread", "speed", 0.70),
)


def power_rows(fields: int = 48) -> list[Row]:
    """Effects of both drivers that are found, four frames a stop."""
    found = []
    for words, effect, stops, design, name, least in POWER:
        outcome = over_fields(said, plans(alike, range(POWER_FIRST, POWER_FIRST + fields), stops=stops, frames=4, design=design, **effect))
        marks = [each.tracks[name] for each in outcome]
        what = f"{words} effects of both drivers, {stops} {design} stops x4, {fields} fields: {name} found"
        found.append(Row(what, f"**{rate(marks)}**", f">= {least:.2f}", bool(np.mean(marks) >= least)))
    return found


def share_rows(fields: int = 48) -> list[Row]:
    """Intervals of what goes with each driver, against what was planted."""
    found = []
    for stops in (24, 48, 96):
        outcome = over_fields(said, plans(alike, range(SHARE_FIRST, SHARE_FIRST + fields), stops=stops, frames=4, **STRONG))
        marks: dict[str, Any] = {name: [each.shares_held[name] for each in outcome] for name in outcome[0].shares_held}
        both = np.mean([np.mean(part) for part in marks.values()])
        found.append(
            Row(
                f"share of loss that goes with a driver, strong, {stops} random stops x4, {fields} fields: truth in the 90 % interval",
                ", ".join(f"{name} {rate(part)}" for name, part in marks.items()) + f"; both **{both:.3f}**",
                ".85-.95",
                bool(0.85 <= both <= 0.95),
            )
        )
    return found
