"""What the machine wrote: its sensors late, smeared and noisy, and some records spoilt."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyproj
import scipy.signal

from lossmap.base.grid import Floats
from lossmap.base.reference import crop as crop_row
from lossmap.synthetic.land import Land
from lossmap.synthetic.plan import FieldPlan
from lossmap.synthetic.track import Steps

__all__ = ["logged", "spoilt"]

Records = tuple[gpd.GeoDataFrame, pd.DataFrame]


def logged(plan: FieldPlan, crs: pyproj.CRS, land: Land, steps: Steps, rng: np.random.Generator) -> Records:
    """What the machine wrote (table POINTS), and for each record what was so (`Truth.records`)."""
    taken = round(plan.log_interval_s / steps.seconds)
    records = _records(steps, taken)
    count = len(records)
    places = np.stack([_by_record(steps.places_m[:, axis], taken) for axis in (0, 1)], axis=1)
    speed = _by_record(steps.speed_m_s, taken)
    clock = np.round((np.arange(count) + 0.5) * plan.log_interval_s * 1000).astype("timedelta64[ms]")
    flow_noise, moisture_noise = rng.standard_normal(count), rng.standard_normal(count)
    columns = {
        "time": pd.DatetimeIndex(np.datetime64(plan.started.replace(tzinfo=None), "ms") + clock, tz="UTC"),
        "mass_flow_kg_s": _by_record(_late_flow(plan, steps), taken) * np.maximum(1 + plan.flow_noise * flow_noise, 0),
        "moisture_pct": _by_record(_late_moisture(plan, steps), taken) + plan.moisture_noise_pct * moisture_noise,
        "speed_m_s": speed,
        "distance_m": speed * plan.log_interval_s,
        "interval_s": np.full(count, float(plan.log_interval_s)),
        "width_m": np.full(count, float(plan.header_width_m)),
        "heading_deg": steps.heading_deg[_middle(steps, taken)],
        "elevation_m": land.at(land.elevation_m, places),
        "machine": plan.machine,
        "log": np.zeros(count, dtype=np.int64),
        "work": records["working"].to_numpy(float),
    }
    seen = places + plan.gnss_noise_m * rng.standard_normal(places.shape)
    points = gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(*seen.T, crs=crs))
    if plan.header_up_rows:
        return points, records
    kept = records["working"]
    return points[kept].drop(columns="work").reset_index(drop=True), records[kept].reset_index(drop=True)


def _records(steps: Steps, taken: int) -> pd.DataFrame:
    """What was so in each record of `taken` steps."""
    middle = _middle(steps, taken)
    working = _by_record(steps.working.astype(float), taken) > 0.5
    return pd.DataFrame(
        {
            "yield_kg_ha": steps.yield_kg_ha[middle],
            "moisture_pct": steps.moisture_pct[middle],
            # so that width times distance is the area cut, also where a pass begins within a record
            "fresh_width_m": _by_record(steps.area_m2, taken) / _by_record(steps.speed_m_s * steps.seconds, taken),
            "pass_id": np.where(working, steps.pass_id[middle], -1),
            "working": working,
            "flaw": "",
        }
    )


def _middle(steps: Steps, taken: int) -> npt.NDArray[np.intp]:
    """The step in the middle of each record."""
    count = math.ceil(len(steps.places_m) / taken)
    return np.minimum(np.arange(count) * taken + taken // 2, len(steps.places_m) - 1)


def _by_record(values: Floats, taken: int) -> Floats:
    """Means over `taken` steps; the last step, on the way out, stands for those that are missing at the end."""
    missing = -len(values) % taken
    return np.asarray(np.concatenate([values, np.repeat(values[-1:], missing)]).reshape(-1, taken).mean(axis=1))


def _late_flow(plan: FieldPlan, steps: Steps) -> Floats:
    """Wet mass flow at the sensor [kg/s]: smeared by the machine's filling, and late.

    The smear is a lag of its own; it is taken off the delay, so that `flow_delay_s` is how
    late the flow is on average. Mass is kept: what is cut arrives.
    """
    at_market_kg_s = steps.yield_kg_ha / 10_000 * steps.area_m2 / steps.seconds
    market = crop_row(plan.crop).market_moisture_pct
    cut_kg_s = np.where(steps.working, at_market_kg_s * (100 - market) / (100 - steps.moisture_pct), 0.0)
    keeps = math.exp(-steps.seconds / plan.ramp_s) if plan.ramp_s > 0 else 0.0
    smeared = scipy.signal.lfilter([1 - keeps], [1, -keeps], cut_kg_s)
    lag_s = keeps / (1 - keeps) * steps.seconds
    edges = np.arange(len(cut_kg_s) + 1) * steps.seconds
    arrived_kg = np.concatenate([[0.0], np.cumsum(smeared)]) * steps.seconds
    return np.asarray(np.diff(np.interp(edges - (plan.flow_delay_s - lag_s), edges, arrived_kg)) / steps.seconds)


def _late_moisture(plan: FieldPlan, steps: Steps) -> Floats:
    """Moisture at the sensor [%]; while nothing passes it, it shows what it saw last."""
    last_cut = np.maximum.accumulate(np.where(steps.working, np.arange(len(steps.places_m)), 0))
    clock = np.arange(len(steps.places_m)) * steps.seconds
    return np.asarray(np.interp(clock - plan.moisture_delay_s, clock, steps.moisture_pct[last_cut]))


def spoilt(plan: FieldPlan, points: gpd.GeoDataFrame, records: pd.DataFrame, rng: np.random.Generator) -> Records:
    """The flaws the plan asks for, named in `records`; thrown, spiked and doubled records are never the same ones."""
    points, records = points.copy(), records.copy()
    rows = rng.permutation(np.flatnonzero(records["working"]))
    thrown, spiked, twice = np.split(rows[: plan.jumps + plan.spikes + plan.duplicates], [plan.jumps, plan.jumps + plan.spikes])
    points.geometry = _thrown_aside(points, thrown, rng)
    points.loc[spiked, "mass_flow_kg_s"] *= 3
    if plan.stuck_moisture:
        first = int(rng.integers(0, max(1, len(points) - plan.stuck_moisture)))
        stuck = slice(first, first + plan.stuck_moisture - 1)
        points.loc[stuck, "moisture_pct"] = points.loc[first, "moisture_pct"]
        records.loc[stuck, "flaw"] = "stuck moisture"
    records.loc[thrown, "flaw"], records.loc[spiked, "flaw"] = "jump", "spike"
    return _doubled(points, records, twice)


def _thrown_aside(points: gpd.GeoDataFrame, rows: npt.NDArray[np.intp], rng: np.random.Generator) -> gpd.array.GeometryArray:
    """Places of all records, those of `rows` 60 to 250 m off, any way."""
    places = np.stack([points.geometry.x, points.geometry.y], axis=1)
    way = rng.uniform(0, 2 * math.pi, len(rows))
    places[rows] += rng.uniform(60, 250, len(rows))[:, None] * np.stack([np.sin(way), np.cos(way)], axis=1)
    return gpd.points_from_xy(*places.T, crs=points.crs)


def _doubled(points: gpd.GeoDataFrame, records: pd.DataFrame, rows: npt.NDArray[np.intp]) -> Records:
    """All records, those of `rows` followed by themselves."""
    order = np.sort(np.concatenate([np.arange(len(points)), rows]), kind="stable")
    again = np.flatnonzero(np.diff(order, prepend=-1) == 0)
    points, records = points.iloc[order].reset_index(drop=True), records.iloc[order].reset_index(drop=True)
    records.loc[again, "flaw"] = "duplicate"
    return points, records
