"""Stage 7: whether loss tracks ground speed or dryness, and where."""

from lossmap.zones.outline import zones
from lossmap.zones.response import driver

__all__ = ["driver", "zones"]
