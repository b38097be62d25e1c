"""Stops on the cut land, and frames laid and counted at them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyproj

from lossmap.base.grid import Surface
from lossmap.base.tables import COUNTS, SOURCES
from lossmap.synthetic.plan import FT2_M2, FieldPlan
from lossmap.synthetic.track import Steps

__all__ = ["counted", "stopped"]

Whole = npt.NDArray[np.intp]

#: What ears are counted on: 1/100 acre.
EARS_M2 = 40.468564224
#: Nobody counts nearer than this to where a pass begins or ends: there the combine was not up to speed.
WAY_M = 15.0


def stopped(plan: FieldPlan, surfaces: Mapping[str, Surface], steps: Steps, rng: np.random.Generator) -> pd.DataFrame:
    """The stops and what truly lies there, each stop's own scatter included.

    Returns
    -------
    DataFrame
        ``stop_id, easting_m, northing_m``, loss by source and in all [kg/ha], and
        ``speed_m_s, moisture_pct`` when it was cut.
    """
    inside = np.isfinite(surfaces["total_kg_ha"].at(*steps.places_m.T))
    full = steps.fresh_width_m >= 0.8 * (plan.header_width_m - plan.overlap_m)
    candidates = np.flatnonzero(steps.working & full & inside & _under_way(steps))
    chosen = candidates[_DESIGNS[plan.design](plan, steps, candidates, rng)]
    places = steps.places_m[chosen]
    stops = pd.DataFrame({"stop_id": [f"S{n + 1:02d}" for n in range(len(chosen))], "easting_m": places[:, 0], "northing_m": places[:, 1]})
    own = np.exp(plan.micro_sd * rng.standard_normal(len(chosen)) - plan.micro_sd**2 / 2)
    for name in (*SOURCES, "total"):
        stops[f"{name}_kg_ha"] = surfaces[f"{name}_kg_ha"].at(*places.T) * own
    stops["speed_m_s"], stops["moisture_pct"] = steps.speed_m_s[chosen], steps.moisture_pct[chosen]
    return stops


def _under_way(steps: Steps) -> npt.NDArray[np.bool_]:
    """Steps at least `WAY_M` from where their pass begins and ends."""
    run = np.cumsum(steps.speed_m_s * steps.seconds)
    starts = np.flatnonzero(np.diff(steps.pass_id, prepend=-2))
    piece = np.searchsorted(starts, np.arange(len(run)), side="right") - 1
    first, last = run[starts][piece], run[np.append(starts[1:], len(run)) - 1][piece]
    return np.asarray((run - first >= WAY_M) & (last - run >= WAY_M))


def _at_random(plan: FieldPlan, steps: Steps, candidates: Whole, rng: np.random.Generator) -> Whole:
    """Anywhere; slow steps do not draw more stops, since a step is taken by the metre it covers."""
    weights = steps.speed_m_s[candidates]
    return np.sort(rng.choice(len(candidates), size=plan.stops, replace=False, p=weights / weights.sum()))


def _spread(plan: FieldPlan, steps: Steps, candidates: Whole, rng: np.random.Generator) -> Whole:
    """Far from one another in place, speed and moisture at once (farthest-point order)."""
    place = steps.places_m[candidates]
    scale = place.std(axis=0).mean()
    drivers = np.stack([steps.speed_m_s[candidates], steps.moisture_pct[candidates]], axis=1)
    spread = np.maximum(drivers.std(axis=0), 1e-9)
    traits = np.concatenate([(place - place.mean(axis=0)) / scale, 0.7 * (drivers - drivers.mean(axis=0)) / spread], axis=1)
    chosen = [int(rng.integers(len(candidates)))]
    distance = np.linalg.norm(traits - traits[chosen[0]], axis=1)
    while len(chosen) < plan.stops:
        chosen.append(int(np.argmax(distance)))
        distance = np.minimum(distance, np.linalg.norm(traits - traits[chosen[-1]], axis=1))
    return np.sort(chosen)


def _along_passes(plan: FieldPlan, steps: Steps, candidates: Whole, rng: np.random.Generator) -> Whole:
    """Along three passes, as who walks out with little time does."""
    passes = steps.pass_id[candidates]
    numbers, sizes = np.unique(passes, return_counts=True)
    long = numbers[sizes >= np.quantile(sizes, 0.4)]
    taken = np.flatnonzero(np.isin(passes, rng.choice(long, size=min(3, len(long)), replace=False)))
    return np.asarray(taken[np.linspace(0, len(taken) - 1, plan.stops).round().astype(int)])


_DESIGNS = MappingProxyType({"random": _at_random, "spread": _spread, "passes": _along_passes})


def counted(plan: FieldPlan, crs: pyproj.CRS, stops: pd.DataFrame, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Frames laid at each position of each stop (table COUNTS): negative binomial, clumped as planned."""
    noise = plan.stop_noise_m * rng.standard_normal((2, len(stops)))
    stops = stops.assign(easting_m=(stops["easting_m"] + noise[0]).round(1), northing_m=(stops["northing_m"] + noise[1]).round(1))
    rows = []
    for position in plan.positions:
        rows.append(_seeds(plan, stops, position, rng))
        if plan.ears and position != "behind_combine":
            rows.append(_ears(plan, stops, position, rng))
    table = pd.concat([pd.DataFrame(row) for row in rows], ignore_index=True).sort_values("stop_id", kind="stable", ignore_index=True)
    table = table.reindex(columns=[column.name for column in COUNTS.columns if column.name != "time"] + ["easting_m", "northing_m"])
    place = gpd.points_from_xy(table.pop("easting_m"), table.pop("northing_m"), crs=crs)
    numbers = ["seeds", "grams", "ears", "grams_per_ear", "frame_m2", "frames"]
    return gpd.GeoDataFrame(table.astype(dict.fromkeys(numbers, float)), geometry=place)


def _seeds(plan: FieldPlan, stops: pd.DataFrame, position: str, rng: np.random.Generator) -> dict[str, object]:
    """Rows of loose seeds, counted or weighed."""
    lies_kg_ha = _fallen_kg_ha(stops, position) * (1 - plan.ears)
    if position == "behind_combine":
        lies_kg_ha = lies_kg_ha + plan.concentration * stops["threshing_kg_ha"]
    area_m2 = plan.frames * plan.frame_m2
    mean = lies_kg_ha.to_numpy() * 100 / plan.thousand_seeds_g * area_m2
    size = plan.clumping_r * area_m2 / FT2_M2
    seeds = rng.negative_binomial(size, size / (size + mean)).astype(float)
    # a scale shows a tenth of a gram
    found = {"grams": np.round(seeds * plan.thousand_seeds_g / 1000, 1)} if plan.weighed else {"seeds": seeds}
    return _rows(stops, position, area_m2, plan.frames) | found


def _ears(plan: FieldPlan, stops: pd.DataFrame, position: str, rng: np.random.Generator) -> dict[str, object]:
    """Rows of whole ears, on an area of their own."""
    lies_kg_ha = _fallen_kg_ha(stops, position) * plan.ears
    ears = rng.poisson(lies_kg_ha * 0.1 / plan.grain_on_ear_g * EARS_M2).astype(float)
    return _rows(stops, position, EARS_M2, 1) | {"ears": ears, "grams_per_ear": plan.ear_g or np.nan}


def _fallen_kg_ha(stops: pd.DataFrame, position: str) -> pd.Series:
    """What lies there from before the machine took anything in."""
    return stops["preharvest_kg_ha"] + (0.0 if position == "before_header" else stops["header_kg_ha"])


def _rows(stops: pd.DataFrame, position: str, area_m2: float, frames: int) -> dict[str, object]:
    place = {column: stops[column] for column in ("easting_m", "northing_m")}
    return {"stop_id": stops["stop_id"], "position": position, "frame_m2": area_m2, "frames": float(frames), "note": ""} | place
