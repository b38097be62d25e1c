"""When the machine worked and in which pass, and its sensors' readings moved to where they were made.

The two hang on one another: delays are told by neighbouring passes, and a late flow cuts off
each pass's start and adds the turn behind its end, so only after it is moved back is it known
when the machine worked. Passes are found, from them the delays, and the passes once more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lossmap.base.estimates import Delay
from lossmap.base.field import Field
from lossmap.base.grid import Floats
from lossmap.base.settings import CleanSettings
from lossmap.clean.delay import as_set, earlier, estimated
from lossmap.clean.log import Log
from lossmap.clean.motion import passes
from lossmap.clean.pairs import neighbour_pairs
from lossmap.clean.track import Mask, Whole
from lossmap.clean.values import moisture, stuck

__all__ = ["Drive", "driven"]


@dataclass(frozen=True)
class Drive:
    """Of each reading in the order of harvest.

    Attributes
    ----------
    flow : array
        Grain through the elevator [kg/s], moved back by its delay; NaN where the log has none.
    moisture : array
        Of the grain [%], likewise; NaN where it is not believed.
    stuck : int
        Readings of moisture that stood still and are not believed.
    working : array of bool
    pass_id : array of int
        -1 where the machine did not work, and everywhere where the log has lost its order.
    flow_delay, moisture_delay : Delay
    """

    flow: Floats
    moisture: Floats
    stuck: int
    working: Mask
    pass_id: Whole
    flow_delay: Delay
    moisture_delay: Delay


def driven(log: Log, field: Field, settings: CleanSettings, believed: Mask) -> Drive:
    """Passes, and readings with their sensors' delays mended.

    Parameters
    ----------
    log : Log
    field : Field
    settings : CleanSettings
    believed : array of bool
        Readings whose place nothing has doubted yet.
    """
    track, flow = log.track, log.values("mass_flow_kg_s")
    water = moisture(log.values("moisture_pct"))
    still = stuck(water, track.interval_s, settings.stuck_moisture)
    water = np.where(still, np.nan, water)
    working, pass_id = _working(log, flow, settings, believed)
    pairs = neighbour_pairs(track, pass_id, field.facts.header_width)
    interval = float(np.median(track.interval_s))

    def delay(values: Floats, setting: float | None, key: str) -> Delay:
        return estimated(values, pairs, working, interval, key) if setting is None else as_set(setting, key)

    flow_delay = delay(flow, settings.flow_delay, "clean.flow_delay")
    moisture_delay = delay(water, settings.moisture_delay, "clean.moisture_delay")
    if flow_delay.applied:
        flow = earlier(flow, track, flow_delay.seconds)
        working, pass_id = _working(log, flow, settings, believed)
    if moisture_delay.applied:
        water = earlier(water, track, moisture_delay.seconds)
    return Drive(flow, water, int(still.sum()), working, pass_id, flow_delay, moisture_delay)


def _working(log: Log, flow: Floats, settings: CleanSettings, believed: Mask) -> tuple[Mask, Whole]:
    """Records at which the machine worked, and the pass of each."""
    measured = flow if np.isfinite(flow).any() else log.values("yield_kg_ha")
    positive = measured[measured > 0]
    least = settings.least_flow / 100.0 * (float(np.median(positive)) if positive.size else 0.0)
    work = log.values("work")
    with np.errstate(invalid="ignore"):
        working = believed & (work != 0) & (log.values("width_m") > 0) & ~(measured <= least) & ~np.isnan(measured)
    if not log.track.ordered:
        return working, np.full(len(working), -1)
    return working, passes(log.track, working, settings.jump_speed, settings.turn)
