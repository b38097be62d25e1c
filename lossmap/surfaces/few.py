"""Where hardly a seed was found: what so few can rule out at best."""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy.special import gammaincinv

from lossmap.base.estimates import Estimate
from lossmap.base.grid import Floats
from lossmap.surfaces.counted import Counted

__all__ = ["FEW", "most_left", "reaching"]

#: From as many seeds on a logarithm is near enough to normal.
FEW = 10.0


def most_left(counted: Counted, is_seed: Floats) -> float:
    """Loss [in the unit of worth] that as few seeds as were found leave possible 19 times in 20; 0 from `FEW` on.

    Near none the logarithm of a loss is nothing like normal, and an interval made from it
    far too sure: no seed on a square metre rules out 3 on it, no more. The exact upper
    limit of a Poisson count (Garwood 1936, Biometrika 28:437-442), over the counts that see
    every part; seed that lies in clumps only widens it.

    Parameters
    ----------
    counted : Counted
    is_seed : array of bool, ``[part]``
        Parts that seeds are counted of, not ears.
    """
    sees = counted.sees[:, np.asarray(is_seed, bool)]
    whole = (sees > 0).all(axis=1) if sees.size else np.zeros(counted.seeds.size, bool)
    found = float(counted.seeds[whole].sum())
    if not whole.any() or found >= FEW:
        return 0.0
    # where residue is concentrated a seed stands for less ground: the limit is the least that could be meant
    looked_at = float((counted.area_m2 * sees.max(axis=1))[whole].sum())
    return float(gammaincinv(found + 1, 0.95)) / looked_at * float(counted.worth[np.asarray(is_seed, bool)].min())


def reaching(estimate: Estimate, high: float) -> Estimate:
    """The estimate with an interval that ends at `high` at least."""
    return dataclasses.replace(estimate, high=max(estimate.high, high)) if estimate else estimate
