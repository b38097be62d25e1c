"""Figures of the trade as rows of tables, each with the key of its source.

Nothing agronomic stands as a literal in a stage: it is read here, and every row names
where it was read (``sources.toml``).

    crops      what each crop weighs, at which moisture it is sold
    standing   grain that waits to be cut: drying, loss, cost
    harvest    seed lost at harvest: what is usual, how to count it, what to look at, what can hurt
    rows       the tables themselves, and what each key stands for
"""

from lossmap.base.reference.crops import Crop, crop, crops
from lossmap.base.reference.harvest import (
    Advice,
    Caution,
    ReelRange,
    UsualLoss,
    advice,
    cautions,
    counting,
    reel_range,
    usual_loss,
    usual_share,
)
from lossmap.base.reference.rows import sources
from lossmap.base.reference.standing import Equilibrium, Figure, equilibria, standability, waiting

__all__ = [
    "Advice",
    "Caution",
    "Crop",
    "Equilibrium",
    "Figure",
    "ReelRange",
    "UsualLoss",
    "advice",
    "cautions",
    "counting",
    "crop",
    "crops",
    "equilibria",
    "reel_range",
    "sources",
    "standability",
    "usual_loss",
    "usual_share",
    "waiting",
]
