"""Where the machine was at each record, and how long and far it went since the one before."""

from __future__ import annotations

import numpy as np

from lossmap.base.grid import Floats
from lossmap.base.units import factor
from lossmap.read.taskdata.clock import Instants
from lossmap.read.taskdata.header import Header
from lossmap.read.taskdata.records import Records

__all__ = ["elevation_of", "intervals_of", "places_of", "with_way_driven"]

# Longer than both between two records is a pause, not an interval (open logs of 1 s have steps of up to 7 s).
PAUSE_S, PAUSE_STEPS = 10.0, 5.0

# No ground is higher or lower.
_HIGHEST_MM = 9_000_000


def places_of(records: Records, header: Header) -> tuple[Floats, Floats]:
    """Longitude and latitude [deg], NaN in both without a fix."""
    return _degrees(records, header, "east", 180), _degrees(records, header, "north", 90)


def _degrees(records: Records, header: Header, name: str, most: int) -> Floats:
    degrees = _position(records, header, name) / 1e7
    other = _position(records, header, "north" if name == "east" else "east")
    # machines without a fix write what is off the earth, or zero in both
    return np.where((np.abs(degrees) <= most) & ((degrees != 0) | (other != 0)), degrees, np.nan)


def _position(records: Records, header: Header, name: str) -> Floats:
    if name in (records.fixed.dtype.names or ()):
        return records.fixed[name].astype(float)
    return np.full(len(records.fixed), header.constants.get(name, np.nan))


def elevation_of(records: Records, header: Header) -> dict[str, Floats]:
    """Height above the ellipsoid, as a column of POINTS; none where no record has one that can be."""
    up_mm = _position(records, header, "up_mm")
    known = np.abs(up_mm) < _HIGHEST_MM
    return {"elevation_m": np.where(known, up_mm * factor("mm", "m"), np.nan)} if known.any() else {}


def intervals_of(when: Instants | None) -> dict[str, Floats]:
    """Seconds since the record before, as a column of POINTS, NaN after a pause; none without a clock."""
    if when is None:
        return {}
    step_s = np.diff(when, prepend=np.datetime64("NaT")) / np.timedelta64(1, "s")
    forward = step_s[step_s > 0]
    longest = max(PAUSE_S, PAUSE_STEPS * float(np.median(forward))) if forward.size else PAUSE_S
    return {"interval_s": np.where((step_s > 0) & (step_s <= longest), step_s, np.nan)}


def with_way_driven(columns: dict[str, Floats]) -> dict[str, Floats]:
    """With the way driven in each interval, where speed is logged: what the machine measured, not two fixes apart."""
    if not {"speed_m_s", "interval_s"} <= columns.keys():
        return columns
    return {**columns, "distance_m": columns["speed_m_s"] * columns["interval_s"]}
