"""Yield of each record, as the log has it and recomputed from mended parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lossmap.base.grid import Floats
from lossmap.clean.drive import Drive
from lossmap.clean.log import Log
from lossmap.clean.values import at_market, wet_yield

__all__ = ["Harvest", "harvested"]

# A swath fresher than this share is whole (cleaning notes: 50-95 % correct, above leave).
OVERLAP_BELOW = 0.9
# No share of a swath is taken for less than this: what little lay there would be divided by next to nothing.
LEAST_SHARE = 0.05


@dataclass(frozen=True)
class Harvest:
    """Of each reading in the order of harvest.

    Attributes
    ----------
    as_logged, dry : array
        Yield at market moisture [kg/ha]: from the log's parts as they stand, and recomputed.
    logged_m2 : array
        Area by the logged width [m2].
    """

    as_logged: Floats
    dry: Floats
    logged_m2: Floats


def harvested(log: Log, drive: Drive, share: Floats, market_pct: float) -> Harvest:
    """Yield before and after the delays, the missing moisture and the overlap are mended.

    Parameters
    ----------
    log : Log
    drive : Drive
    share : array
        Of each swath that was freshly cut.
    market_pct : float
        Market moisture [%].
    """
    width = log.values("width_m")
    as_logged = _yield(log, log.values("mass_flow_kg_s"), log.values("moisture_pct"), width, log.driven(), market_pct)
    # a share near one is the raster's own grain, not an overlap
    cut_width = width * np.where(share > OVERLAP_BELOW, 1.0, np.fmax(share, LEAST_SHARE))
    dry = _yield(log, drive.flow, drive.moisture, cut_width, log.track.distance_m, market_pct)
    return Harvest(as_logged, dry, width * log.track.distance_m)


def _yield(log: Log, flow: Floats, water: Floats, width: Floats, distance: Floats, market_pct: float) -> Floats:
    """From mass flow where it and a clock are known, else as logged on the width really cut [kg/ha]."""
    if np.isfinite(flow).any() and log.track.clock:
        return at_market(wet_yield(flow, log.track.interval_s, width, distance), water, market_pct)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(width > 0, log.values("yield_kg_ha") * log.values("width_m") / width, np.nan)
