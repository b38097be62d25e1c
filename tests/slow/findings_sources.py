"""How well the counts divide loss by source: stops with all positions, with a mix, and in a windrow."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from slow.fields import Row, alike, holds, mapped, over_fields, plans, rate

from lossmap import synthetic
from lossmap.base.tables import POSITIONS, SOURCES
from lossmap.synthetic import FieldPlan, MadeField

FIRST = 2700
STOPS, FRAMES = 36, 4
#: A header of 30 ft whose residue falls on a fifth of its width.
WINDROW = {"discharge_width_m": 9.144 / 5}
#: Of a mix, every so many stops have all positions.
FULL_STOP = 3
#: Standard deviation of the logarithm of each planted source beside the others: fields differ in what leaves their grain.
VARIED_SD = 0.6


@dataclass(frozen=True)
class Divided:
    """Of one field: which intervals hold the truth, and the sources' means over the truth."""

    kg_ha_held: dict[str, bool]
    pct_held: dict[str, bool]
    ratio: dict[str, float]


def all_positions(plan: FieldPlan, rng_seed: int) -> Divided:
    """Frames at every position of every stop."""
    return _divided(synthetic.make(plan, rng_seed))


def a_mix(plan: FieldPlan, rng_seed: int) -> Divided:
    """A third of the stops with every position, the rest behind the combine alone."""
    made = synthetic.make(plan, rng_seed)
    number = made.counts["stop_id"].rank(method="dense").astype(int)
    kept = (made.counts["position"] == POSITIONS[-1]) | (number % FULL_STOP == 0)
    return _divided(dataclasses.replace(made, counts=made.counts[kept].reset_index(drop=True)))


def _divided(made: MadeField) -> Divided:
    found, true = mapped(made).found, made.truth.mean_kg_ha
    return Divided(
        {name: holds(found.sources[name], true[name]) for name in SOURCES},
        {name: holds(found.source_pct[name], 100 * true[name] / true["total"]) for name in SOURCES},
        {name: found.sources[name].mean / true[name] for name in SOURCES} | {"total": found.field_total.mean / true["total"]},
    )


def _divided_anew(rng_seed: int) -> FieldPlan:
    """The usual setting with the same loss divided otherwise."""
    plan, by = alike(rng_seed), np.exp(np.random.default_rng([rng_seed, 4]).normal(0, VARIED_SD, len(SOURCES)))
    means = np.array([getattr(plan, name).mean_kg_ha for name in SOURCES])
    anew = means * by * means.sum() / (means @ by)
    return dataclasses.replace(
        plan, **{name: dataclasses.replace(getattr(plan, name), mean_kg_ha=float(mean)) for name, mean in zip(SOURCES, anew, strict=True)}
    )


def rows(fields: int = 60) -> list[Row]:
    """Each arrangement, one row for kg/ha and one for shares."""
    arrangements = (
        ("all three positions at every stop", all_positions, {}),
        ("all three at a third of the stops, the rest behind only", a_mix, {}),
        ("all three in a windrow, a fifth of the header", all_positions, WINDROW),
        ("the mix in a windrow", a_mix, WINDROW),
    )
    found = []
    for words, trial, more in arrangements:
        jobs = plans(_divided_anew, range(FIRST, FIRST + fields), stops=STOPS, frames=FRAMES, positions=POSITIONS, **more)
        outcome = over_fields(trial, jobs)
        where = f"{words}, {STOPS} stops x{FRAMES}, {fields} fields"
        off = ", ".join(f"{name} x{np.mean([each.ratio[name] for each in outcome]):.2f}" for name in (*SOURCES, "total"))
        found.append(_row(f"sources in kg/ha, {where}", [each.kg_ha_held for each in outcome], f"; means over truth: {off}"))
        found.append(_row(f"sources in % of loss, {where}", [each.pct_held for each in outcome], ""))
    return found


def _row(what: str, held: list[dict[str, bool]], more: str) -> Row:
    together = float(np.mean([list(each.values()) for each in held]))
    each = ", ".join(f"{name} {rate([field[name] for field in held])}" for name in SOURCES)
    return Row(f"{what}: truth in the 90 % interval", f"{each}; all **{together:.3f}**{more}", ".85-.95", 0.85 <= together <= 0.95)
