"""What fell: loss by source over the field, and what of it goes with speed and dryness."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import scipy.spatial

from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.tables import SOURCES
from lossmap.synthetic.land import Land, gaussian
from lossmap.synthetic.plan import FieldPlan, Source
from lossmap.synthetic.track import Steps

__all__ = ["at_cut", "lost"]


def at_cut(land: Land, steps: Steps, inside: npt.NDArray[np.bool_]) -> dict[str, Surface]:
    """Yield, and speed and moisture when it was cut: each cell `inside` takes the nearest working step."""
    easting, northing = land.grid.centres()
    cells = np.stack(np.meshgrid(easting, northing), axis=-1)[inside]
    working = np.flatnonzero(steps.working)
    nearest = working[scipy.spatial.cKDTree(steps.places_m[working]).query(cells)[1]]
    return {
        "yield_kg_ha": _surface("yield_kg_ha", "kg/ha", land.grid, inside, land.yield_kg_ha[inside]),
        "speed_m_s": _surface("speed_m_s", "m/s", land.grid, inside, steps.speed_m_s[nearest]),
        "moisture_pct": _surface("moisture_pct", "%", land.grid, inside, steps.moisture_pct[nearest]),
    }


def _surface(name: str, unit: str, grid: Grid, inside: npt.NDArray[np.bool_], values: Floats) -> Surface:
    whole = np.full(grid.shape, np.nan, dtype=np.float32)
    whole[inside] = values
    return Surface(name, unit, grid, whole, whole, whole, "made: the truth")


def lost(
    plan: FieldPlan, land: Land, cut: Mapping[str, Surface], rng: np.random.Generator
) -> tuple[dict[str, Surface], dict[str, float], npt.NDArray[np.bool_]]:
    """Loss by source, what of it goes with speed and dryness, and where these act.

    Parameters
    ----------
    plan : FieldPlan
    land : Land
    cut : mapping of str to Surface
        Of `at_cut`.
    rng : Generator

    Returns
    -------
    mapping of str to Surface
        ``preharvest_kg_ha, header_kg_ha, threshing_kg_ha, total_kg_ha``.
    mapping of str to float
        What goes with ``speed`` and ``dryness``, over the field [kg/ha].
    array of bool, ``[row, col]``
        Where the effects act.
    """
    inside = np.isfinite(cut["yield_kg_ha"].mean)
    acts = inside & (land.lump >= np.quantile(land.lump[inside], 1 - plan.effect_area))
    fast = np.maximum(cut["speed_m_s"].mean[inside] - plan.speed_knot_m_s, 0) / 0.5 * acts[inside]
    dry = np.maximum(plan.moisture_knot_pct - cut["moisture_pct"].mean[inside], 0) / 2 * acts[inside]
    with_speed, with_dryness = plan.speed_effect**fast, plan.dryness_effect**dry
    kg_ha = {name: _base(getattr(plan, name), land.grid, rng)[inside] for name in SOURCES}
    header = kg_ha["header"] * with_speed * with_dryness
    kg_ha["header"] = header
    kg_ha["total"] = kg_ha["preharvest"] + header + kg_ha["threshing"]
    shares = {
        "speed": float(np.mean(header - header / with_speed)),
        "dryness": float(np.mean(header - header / with_dryness)),
    }
    surfaces = {f"{name}_kg_ha": _surface(f"{name}_kg_ha", "kg/ha", land.grid, inside, values) for name, values in kg_ha.items()}
    return surfaces, shares, acts


def _base(source: Source, grid: Grid, rng: np.random.Generator) -> Floats:
    """A source before speed and dryness act: log-Gaussian, its mean as planned."""
    waves = gaussian(grid, source.range_m, source.smooth, rng)
    return np.asarray(source.mean_kg_ha * np.exp(source.sd * waves - source.sd**2 / 2))
