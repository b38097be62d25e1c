"""The figures to publish with every cleaned field: spread, roughness and mass, before and after.

A cleaning that only narrows the spread may have cut real differences away; one that lowers
the semivariance between nearest neighbours has taken noise (Lyle, Bryan, Ostendorf 2014,
Precis. Agric. 15:377-402: publish mean, spread, shape and nugget before and after).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import nnls
from scipy.spatial import cKDTree

from lossmap.base.grid import Floats
from lossmap.clean.track import Mask, Whole

__all__ = ["figures", "pass_offset_pct", "spread"]

# Origins whose neighbours are looked at, evenly over the records: enough for two digits.
ORIGINS = 500

# With fewer records, or pairs in the first two lags, there is no semivariance to speak of.
LEAST_RECORDS, LEAST_IN_LAG = 200, 30

# Records looked at for the levels of passes, evenly over the log.
OFFSET_RECORDS = 8000

# Edges of the lags [m]: within a pass, the next pass, and on to where yields are unalike.
LAGS_M = np.array([2.0, 8.0, 12.0, 18.0, 25.0, 36.0, 50.0, 70.0, 100.0])

# Ranges tried for the exponential model [m]; nugget and sill follow by least squares.
RANGES_M = np.array([5.0, 10.0, 20.0, 40.0, 80.0])


def spread(values: Floats) -> dict[str, float]:
    """``mean, median, sd, cv_pct, skewness`` of what is known; NaN with fewer than two values."""
    known = values[np.isfinite(values)]
    if known.size < 2:
        return dict.fromkeys(("mean", "median", "sd", "cv_pct", "skewness"), float("nan"))
    mean, sd = float(known.mean()), float(known.std(ddof=1))
    skewness = float(np.mean(((known - mean) / sd) ** 3)) if sd > 0 else 0.0
    cv = 100.0 * sd / mean if mean else float("nan")
    return {"mean": mean, "median": float(np.median(known)), "sd": sd, "cv_pct": cv, "skewness": skewness}


def figures(easting_m: Floats, northing_m: Floats, yield_kg_ha: Floats, area_m2: Floats) -> dict[str, float]:
    """`spread`, with ``first_lag, nugget, sill`` of the semivariance and ``mass_kg``.

    Parameters
    ----------
    easting_m, northing_m, yield_kg_ha, area_m2 : array, ``[record]``
    """
    known = np.isfinite(easting_m) & np.isfinite(northing_m) & np.isfinite(yield_kg_ha)
    first, nugget, sill = _semivariance(np.column_stack([easting_m[known], northing_m[known]]), yield_kg_ha[known])
    mass = float(np.nansum(yield_kg_ha * area_m2) / 10_000)
    return {**spread(yield_kg_ha), "first_lag": first, "nugget": nugget, "sill": sill, "mass_kg": mass}


def _semivariance(places: Floats, values: Floats) -> tuple[float, float, float]:
    """At the first lag, and nugget and sill of an exponential model through all lags; NaN with too few records."""
    nothing = (float("nan"),) * 3
    if len(values) < LEAST_RECORDS:
        return nothing
    chosen = np.linspace(0, len(values) - 1, min(ORIGINS, len(values))).astype(int)
    pairs = cKDTree(places[chosen]).sparse_distance_matrix(cKDTree(places), LAGS_M[-1], output_type="coo_matrix")
    half_squared = (values[chosen][pairs.row] - values[pairs.col]) ** 2 / 2
    lag = np.digitize(pairs.data, LAGS_M) - 1
    inside = (lag >= 0) & (lag < len(LAGS_M) - 1)
    count = np.bincount(lag[inside], minlength=len(LAGS_M) - 1)
    if (count[:2] < LEAST_IN_LAG).any():
        return nothing
    used = count >= LEAST_IN_LAG
    gamma = np.bincount(lag[inside], half_squared[inside], len(LAGS_M) - 1)[used] / count[used]
    away = np.bincount(lag[inside], pairs.data[inside], len(LAGS_M) - 1)[used] / count[used]
    fits = [(nnls(np.column_stack([np.ones_like(away), 1 - np.exp(-away / span)]), gamma), span) for span in RANGES_M]
    (nugget, structure), _ = min(fits, key=lambda fit: fit[0][1])[0]
    return float(gamma[0]), float(nugget), float(nugget + structure)


def pass_offset_pct(easting_m: Floats, northing_m: Floats, yield_kg_ha: Floats, pass_id: Whole, believed: Mask, width_m: float) -> float:
    """How much passes differ in level from their neighbours [%, standard deviation]; NaN with fewer than five passes.

    Half a header's error in steering or a drifting sensor shows here, and so do strips of a trial.
    """
    rows = np.flatnonzero(believed & (pass_id >= 0) & (yield_kg_ha > 0))
    if rows.size < 100:
        return float("nan")
    places, number = np.column_stack([easting_m[rows], northing_m[rows]]), np.unique(pass_id[rows], return_inverse=True)[1]
    chosen = np.linspace(0, rows.size - 1, min(rows.size, OFFSET_RECORDS)).astype(int)
    away, near = cKDTree(places).query(places[chosen], k=min(24, rows.size), distance_upper_bound=1.5 * width_m)
    other = np.minimum(near, rows.size - 1)
    fits = np.isfinite(away) & (number[other] != number[chosen, None])
    found = fits.any(axis=1)
    log = np.log(yield_kg_ha[rows])
    ratio = log[chosen[found]] - log[other[found, fits[found].argmax(axis=1)]]
    count = np.bincount(number[chosen[found]])
    level = np.bincount(number[chosen[found]], ratio)[count >= 10] / count[count >= 10]
    # the difference of two passes varies twice as much as one
    return float(100.0 * level.std() / np.sqrt(2)) if level.size >= 5 else float("nan")
