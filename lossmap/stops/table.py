"""Stops chosen, as a table for those who go and count."""

from __future__ import annotations

import re
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from lossmap.base.grid import Floats
from lossmap.base.tables import PLAN
from lossmap.stops.ground import Ground, Picked

__all__ = ["plan_table"]


def plan_table(ground: Ground, picked: Picked, counted_m: Floats, known_ids: Sequence[str], frames: int) -> gpd.GeoDataFrame:
    """The stops chosen, as a table for those who go and count.

    Parameters
    ----------
    ground : Ground
    picked : Picked
        Of that ground.
    counted_m : array, ``[stop, 2]``
        Where stops were counted already [m].
    known_ids : sequence of str
        Their names: a new stop gets none of them (P1, P2, ... go on behind the highest P).
    frames : int
        To lay at each position.

    Returns
    -------
    PLAN
        In the order of usefulness.
    """
    chosen = ground.some(picked.index)
    columns = {
        "stop": _names(len(chosen), known_ids),
        "rank": np.arange(1, len(chosen) + 1),
        "reason": np.array(picked.reasons, dtype=object),
        "part": _part_of_field(ground.places_m, chosen.places_m),
        "nearest_m": _nearest_before(chosen.places_m, counted_m),
        "frames": np.full(len(chosen), frames),
    }
    for name, values, here in (("speed_m_s", ground.speed, chosen.speed), ("moisture_pct", ground.moisture, chosen.moisture)):
        if values is not None and here is not None:
            columns[name] = np.asarray(here, float)
            columns[f"{name.partition('_')[0]}_rank_pct"] = _percent_below(values, here)
    return PLAN.check(gpd.GeoDataFrame(columns, geometry=shapely.points(chosen.places_m), crs=ground.crs))


def _names(number: int, known_ids: Sequence[str]) -> npt.NDArray[np.object_]:
    """P and a number, going on behind the highest that is in use."""
    # more digits than five are somebody's own way of naming, not a row of stops to go on with
    used = [int(match[1]) for one in known_ids if (match := re.fullmatch(r"[Pp]0*([0-9]{1,5})", one.strip()))]
    first = max(used, default=0) + 1
    return np.array([f"P{first + step}" for step in range(number)], dtype=object)


def _part_of_field(ground_m: Floats, places_m: Floats) -> npt.NDArray[np.object_]:
    """In which ninth of the field's extent: "north-west", "middle", ..."""
    low, size = ground_m.min(axis=0), np.maximum(np.ptp(ground_m, axis=0), 1e-9)
    third = np.clip(((places_m - low) / size * 3).astype(int), 0, 2)
    along, across = np.array(["west", "", "east"], dtype=object), np.array(["south", "", "north"], dtype=object)
    words = [(across[north], along[east]) for east, north in third]
    return np.array(["-".join(word for word in pair if word) or "middle" for pair in words], dtype=object)


def _nearest_before(places_m: Floats, counted_m: Floats) -> Floats:
    """Distance of each to the nearest stop counted or chosen before it [m]; NaN for the first of all."""
    out = np.full(len(places_m), np.nan)
    before = np.vstack([np.asarray(counted_m, float).reshape(-1, 2), places_m])
    first = len(before) - len(places_m)
    for row in range(len(places_m)):
        if first + row:
            out[row] = np.hypot(*(before[: first + row] - places_m[row]).T).min()
    return out


def _percent_below(values: Floats, here: Floats) -> Floats:
    """Share of the ground with a smaller value, ties half [%]; NaN where unknown."""
    known = np.sort(values[np.isfinite(values)])
    share = (np.searchsorted(known, here, "left") + np.searchsorted(known, here, "right")) / (2 * max(len(known), 1))
    return np.where(np.isfinite(here), 100 * share, np.nan)
