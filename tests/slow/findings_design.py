"""What spreading the stops is worth beside placing them at random."""

from __future__ import annotations

import dataclasses

import geopandas as gpd
import numpy as np
import numpy.typing as npt
from slow.fields import SEED_G, Floats, Row, alike, mapped, over_fields, plans

from lossmap import synthetic
from lossmap.stops import spread
from lossmap.synthetic import FT2_M2, FieldPlan, MadeField

FIRST = 1500
#: What is measured, and the line its ratio to random is held against.
LINES = {
    "slope sd, speed": 0.65,
    "slope sd, dryness": 0.75,
    "RMSE of the surface": 0.97,
    "slope sd to be expected before counting, speed": None,
    "slope sd to be expected before counting, dryness": None,
}


def both_designs(plan: FieldPlan, rng_seed: int) -> dict[str, tuple[float, float]]:
    """One field counted at random places and at spread ones: each measure, (random, spread)."""
    made = synthetic.make(plan, rng_seed)
    rng = np.random.default_rng([rng_seed, 3])
    cells_m, speed, moisture = _cells(made)
    at_random = rng.choice(len(cells_m), plan.stops, replace=False)
    chosen = spread(cells_m, speed, moisture, plan.stops)
    of_random, of_spread = (_measured(counted_at(made, cells_m[rows], rng)) for rows in (at_random, chosen))
    return {name: (of_random[name], of_spread[name]) for name in LINES}


def _cells(made: MadeField) -> tuple[Floats, Floats, Floats]:
    """Centres, speed and moisture of every cell of the field."""
    speed, moisture = (made.truth.surfaces[name] for name in ("speed_m_s", "moisture_pct"))
    inside = np.isfinite(speed.mean)
    east, north = np.meshgrid(*speed.grid.centres())
    return np.column_stack([east[inside], north[inside]]), speed.mean[inside].astype(float), moisture.mean[inside].astype(float)


def counted_at(made: MadeField, places_m: Floats, rng: np.random.Generator) -> MadeField:
    """The same field, its frames laid at other places."""
    plan = made.plan
    area = plan.frames * plan.frame_m2
    mean = made.truth.surfaces["total_kg_ha"].at(*places_m.T) * 100 / SEED_G * area
    size = plan.clumping_r * area / FT2_M2
    seeds: npt.NDArray[np.floating] = rng.negative_binomial(size, size / (size + mean)).astype(float)
    counts = made.counts.assign(seeds=seeds)
    return dataclasses.replace(made, counts=counts.set_geometry(gpd.points_from_xy(*places_m.T, crs=made.crs)))


def _measured(made: MadeField) -> dict[str, float]:
    here = mapped(made)
    evidence = here.found.evidence
    error = here.found.surface.mean[here.inside].astype(float) - here.true()
    sd, expected = ([getattr(evidence[name], part) for name in ("speed", "dryness")] for part in ("sd", "expected_sd"))
    return dict(zip(LINES, (*sd, float(np.sqrt(np.mean(error**2))), *expected), strict=True))


def rows(fields: int = 80) -> list[Row]:
    """Each measure at two numbers of stops, spread over random."""
    found = []
    for stops in (24, 48):
        outcome = over_fields(both_designs, plans(alike, range(FIRST, FIRST + fields), stops=stops, frames=4))
        for name, line in LINES.items():
            of_random, of_spread = np.array([each[name] for each in outcome]).mean(axis=0)
            what = f"spread over random stops, {stops} x4, {fields} fields: {name}"
            measured = f"**{of_spread / of_random:.3f}** ({of_spread:.3g} / {of_random:.3g})"
            ratio = of_spread / of_random
            found.append(Row(what, measured, f"<= {line:.2f}" if line else "", bool(ratio <= line) if line else None))
    return found
