"""The machine's own totals against the sums of its records: a reader, a unit or a calibration that is wrong shows here."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from lossmap.base.grid import Floats
from lossmap.base.units import factor
from lossmap.read.taskdata.readings import Readings

__all__ = ["growth", "steps_m", "unlike_totals"]

_MASS, _AREA, _DISTANCE = 0x5A, 0x74, 0x75

#: Differences up to this share are calibration and rounding (21 open logs: flow 0.82 to 1.00 of the total, area within 6 %).
MOST_APART = 0.10

# Ellipsoid of WGS84: half axis [m], squared eccentricity.
_HALF_AXIS_M, _ECCENTRICITY = 6_378_137.0, 0.00669437999014


def unlike_totals(columns: Mapping[str, Floats], step_m: Floats, readings: Readings, listed: Mapping[int, float]) -> list[str]:
    """What is to be said of each total from which the records differ by more than a tenth.

    Parameters
    ----------
    columns : mapping
        Of the log, in SI.
    step_m : array
        Way from the record before [m].
    readings : Readings
    listed : mapping of int to float
        Growth of totals as the task states it, for logs that hold none themselves.
    """
    nothing = np.full(readings.count, np.nan)
    flow, interval = columns.get("mass_flow_kg_s", nothing), columns.get("interval_s", nothing)
    # sums in work alone: the totals of area and way stand still on the road
    worked = np.where(columns.get("work", nothing) == 1, step_m, np.nan)
    checks = (
        (_MASS, "mass flow adds up to", flow * interval, "kg", 1.0),
        (_AREA, "width times way in work adds up to", worked * columns.get("width_m", nothing), "m2", 1.0),
        (_DISTANCE, "way in work adds up to", worked, "m", factor("mm", "m")),
    )
    found = []
    for ddi, words, parts, unit, per_raw in checks:
        total = growth(readings, ddi, listed) * per_raw
        summed = float(np.nansum(parts))
        if total > 0 and np.isfinite(parts).any() and abs(summed / total - 1.0) > MOST_APART:
            found.append(f"{words} {summed:,.0f} {unit}, the machine's own total grew by {total:,.0f} {unit}")
    return found


def growth(readings: Readings, ddi: int, listed: Mapping[int, float]) -> float:
    """By how much a total grew over the log, raw; NaN where nobody says.

    Totals run on from the log before, or start anew within one: only rises count.
    """
    found = readings.best(ddi)
    if found is None or found.how != "logged":
        return listed.get(ddi, float("nan"))
    known = found.values[np.isfinite(found.values)]
    return float(np.clip(np.diff(known), 0, None).sum())


def steps_m(longitude: Floats, latitude: Floats) -> Floats:
    """Way from the record before [m], NaN at the first: on the ellipsoid's own curvature, exact to 1e-5 over a field."""
    curved = 1.0 - _ECCENTRICITY * np.sin(np.radians(latitude)) ** 2
    north_m = np.radians(np.diff(latitude, prepend=np.nan)) * _HALF_AXIS_M * (1.0 - _ECCENTRICITY) / curved**1.5
    east_m = np.radians(np.diff(longitude, prepend=np.nan)) * _HALF_AXIS_M / np.sqrt(curved) * np.cos(np.radians(latitude))
    return np.hypot(north_m, east_m)
