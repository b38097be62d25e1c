"""Stage 7: whether loss tracks ground speed or dryness, where, and which speed pays."""

from lossmap.zones.effects import effect_curve
from lossmap.zones.outline import zones
from lossmap.zones.pace import Costs, pace, reel_speed
from lossmap.zones.response import driver, found_sd

__all__ = ["Costs", "driver", "effect_curve", "found_sd", "pace", "reel_speed", "zones"]
