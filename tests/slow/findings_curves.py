"""How well effect curves hold what was planted: loss of an average place along speed and along moisture."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from slow.fields import MODERATE, NONE, STRONG, Bools, Floats, Mapped, Row, alike, mapped, over_fields, plans

from lossmap import synthetic
from lossmap.base.tables import DRIVE
from lossmap.synthetic import FieldPlan
from lossmap.zones import effect_curve

FIRST = 500


def curve_rows(fields: int = 48) -> list[Row]:
    """Places along the curves at which the truth lies in the 90 % band."""
    found = []
    for words, effect in (("no", NONE), ("moderate", MODERATE), ("strong", STRONG)):
        for stops in (24, 48):
            outcome = over_fields(held, plans(alike, range(FIRST, FIRST + fields), stops=stops, frames=4, **effect))
            shares = {name: np.array([each[name] for each in outcome]) for name in DRIVE}
            both = float(np.mean([share.mean() for share in shares.values()]))
            found.append(
                Row(
                    f"effect curves, {words} effects, {stops} random stops x4, {fields} fields: truth in the 90 % band, all along",
                    ", ".join(f"{name} {share.mean():.3f} (ends {_ends(share)})" for name, share in shares.items())
                    + f"; both **{both:.3f}**",
                    ".85-.95",
                    bool(0.85 <= both <= 0.95),
                )
            )
    return found


def _ends(share: Bools) -> str:
    return " and ".join(f"{part:.2f}" for part in share[:, [0, -1]].mean(axis=0))


def held(plan: FieldPlan, rng_seed: int) -> dict[str, Bools]:
    """Make, count and map one field: for each driver, where along its curve the band holds what was planted."""
    here = mapped(synthetic.make(plan, rng_seed))
    return {name: curve_held(here, name) for name in DRIVE}


def curve_held(here: Mapped, name: str) -> Bools:
    """Where along the curve the band holds the truth."""
    column = DRIVE[name]
    curve = effect_curve(here.found.evidence[name], here.true(column), here.losses[column].to_numpy(float), here.found.field_total)
    low, high = np.array([(one.low, one.high) for one in curve.loss_kg_ha]).T
    true = planted(here, name)(np.array(curve.at))
    return np.asarray((low <= true) & (true <= high))


def planted(here: Mapped, name: str) -> Callable[[Floats], Floats]:
    """Loss of an average place at each value of the driver: what the header leaves there, and what falls whatever the driver [kg/ha]."""
    plan = here.made.plan

    def factor(values: Floats) -> Floats:
        if name == "speed":
            return np.asarray(plan.speed_effect ** (np.maximum(values - plan.speed_knot_m_s, 0) / 0.5))
        return np.asarray(plan.dryness_effect ** (np.maximum(plan.moisture_knot_pct - values, 0) / 2))

    without = (here.true("header_kg_ha") / factor(here.true(DRIVE[name]))).mean()
    always = (here.true("preharvest_kg_ha") + here.true("threshing_kg_ha")).mean()
    return lambda values: always + without * factor(values)
