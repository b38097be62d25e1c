"""Stage 5: from values at places to surfaces on the field's one grid: the machine's dense layers, and counted loss."""

from lossmap.surfaces.counted import Counted
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.dense import by_pass, dense, placed
from lossmap.surfaces.doubts import left_in_doubt
from lossmap.surfaces.loss import LossSurface, loss_surface

__all__ = ["CountModel", "Counted", "LossSurface", "by_pass", "dense", "left_in_doubt", "loss_surface", "placed"]
