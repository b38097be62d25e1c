"""Yield from its parts, and values that no crop, this field, or the neighbours can have."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from lossmap.base.grid import Floats
from lossmap.clean.track import Mask, runs

__all__ = ["at_market", "moisture", "robust_sd", "stuck", "unlike_field", "unlike_neighbours", "wet_yield"]

# Water outside this range is a sensor that reads nothing (formats: 0, 2 and 2.1 % stand for "none").
DRIEST_PCT, WETTEST_PCT = 5.0, 40.0

# The record itself and those nearest to it; with fewer believed ones nobody can say what is usual there.
NEIGHBOURS, LEAST_NEIGHBOURS = 25, 5
# Fewer values than this have no spread to be outside of.
LEAST_KNOWN = 20
# A run so many times the usual one is a sensor that does not move.
STUCK_RUNS = 10.0

# No field is evener than its sensor: a smaller spread would refuse its own noise (common practice, no source).
LEAST_SPREAD = 0.03


def moisture(logged_pct: Floats) -> Floats:
    """Moisture with readings that are none turned to missing [%, wet basis]."""
    with np.errstate(invalid="ignore"):
        return np.where((logged_pct >= DRIEST_PCT) & (logged_pct <= WETTEST_PCT), logged_pct, np.nan)


def stuck(values: Floats, interval_s: Floats, longest_s: float) -> Mask:
    """Readings in a run of one and the same value for longer than `longest_s`, and far longer than runs of this log are.

    A sensor that shows whole points repeats itself for long, too.
    """
    run = runs(values)
    lasted = np.bincount(run, interval_s)
    known = np.isfinite(values)
    usual = float(np.mean(lasted[np.unique(run[known])])) if known.any() else 0.0
    return np.asarray(known & (lasted[run] > max(longest_s, STUCK_RUNS * usual)))


def wet_yield(mass_flow_kg_s: Floats, interval_s: Floats, width_m: Floats, distance_m: Floats) -> Floats:
    """Grain per area as it came [kg/ha]: flow times interval over width times distance; NaN where no area was covered."""
    with np.errstate(invalid="ignore", divide="ignore"):
        per_area = mass_flow_kg_s * interval_s / (width_m * distance_m) * 10_000
    return np.where((width_m > 0) & (distance_m > 0), per_area, np.nan)


def at_market(wet_kg_ha: Floats, moisture_pct: Floats, market_pct: float) -> Floats:
    """The same dry matter at market moisture [kg/ha]; where moisture is missing, at the field's middle one.

    A log without any moisture is taken as sold: the caller says so.
    """
    known = np.isfinite(moisture_pct)
    usual = float(np.median(moisture_pct[known])) if known.any() else market_pct
    return wet_kg_ha * (100.0 - np.where(known, moisture_pct, usual)) / (100.0 - market_pct)


def robust_sd(values: Floats) -> float:
    """Standard deviation as the middle half tells it; zero where half of the values are one and the same."""
    # 1.4826 turns the median absolute deviation into the standard deviation of a normal
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def unlike_field(values: Floats, believed: Mask, limit: float) -> Mask:
    """Values further than `limit` robust standard deviations from the middle of the believed ones."""
    known = values[believed & np.isfinite(values)]
    if known.size < LEAST_KNOWN:
        return np.zeros(len(values), dtype=bool)
    middle = float(np.median(known))
    sd = robust_sd(known)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(values - middle) > limit * max(sd, LEAST_SPREAD * abs(middle)))


def unlike_neighbours(easting_m: Floats, northing_m: Floats, values: Floats, believed: Mask, radius_m: float, limit_pct: float) -> Mask:
    """Values that differ from the median of their believed neighbours within `radius_m` by more than `limit_pct`."""
    out = np.zeros(len(values), dtype=bool)
    rows = np.flatnonzero(believed & np.isfinite(values))
    if rows.size < NEIGHBOURS:
        return out
    places = np.column_stack([easting_m[rows], northing_m[rows]])
    away, found = cKDTree(places).query(places, k=NEIGHBOURS, distance_upper_bound=radius_m)
    padded = np.append(values[rows], np.nan)[found[:, 1:]]
    padded[~np.isfinite(away[:, 1:])] = np.nan
    enough = np.isfinite(padded).sum(axis=1) >= LEAST_NEIGHBOURS
    middle = np.full(rows.size, np.nan)
    middle[enough] = np.nanmedian(padded[enough], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        out[rows] = np.abs(values[rows] / middle - 1.0) > limit_pct / 100.0
    return out
