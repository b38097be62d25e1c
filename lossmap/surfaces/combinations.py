"""Every combination of the count model, as the counts of one field meet it.

A combination is a row of the lattice (`lossmap.surfaces.lattice`) under a *key*, which says
what drives loss: the hinge of speed and the hinge of dryness that act, each an index into the
field's hinges, or -1 where that driver is left out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lossmap.base.grid import Floats
from lossmap.base.logloss import Hinge
from lossmap.base.tables import DRIVE
from lossmap.surfaces.counted import Counted
from lossmap.surfaces.laplace import Prior
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, PART_SD, SLOPE_SD, Whole

__all__ = ["DRIVERS", "PLAIN", "Combinations", "Key", "hinges_of"]

Key = tuple[int, int]

DRIVERS = tuple(DRIVE)
#: Without any driver.
PLAIN: Key = (-1, -1)
# Bytes of one batch of kernels: about what a processor keeps near.
BATCH = 8e6


def hinges_of(key: Key) -> list[int]:
    """Hinges that act: one of speed, one of dryness, or fewer."""
    return [hinge for hinge in key if hinge >= 0]


@dataclass(frozen=True)
class Combinations:
    """What the counts' places, areas and drivers make of every combination.

    Attributes
    ----------
    counted : Counted
    share : array, ``[part]``
        Of each part in the total where all latents are 0.
    hinges : sequence of Hinge
        Every knot of every driver.
    design : array, ``[stop, hinge]``
        How far each stop is beyond each knot.
    kernels : array, ``[process, count, count]``
        Correlation between the places of counts.
    """

    counted: Counted
    share: Floats
    hinges: Sequence[Hinge]
    design: Floats
    kernels: Floats

    @property
    def own(self) -> float:
        """Prior variance of what each part's intercept has alone; one part has nothing beside the level."""
        return PART_SD**2 if self.share.size > 1 else 0.0

    @cached_property
    def slope_variance(self) -> Floats:
        """Prior variance of each slope, ``[hinge]``."""
        return np.array([SLOPE_SD[hinge.driver] ** 2 for hinge in self.hinges])

    @cached_property
    def beyond(self) -> Floats:
        """How far the place of each count is beyond each knot, ``[count, hinge]``."""
        return self.design[self.counted.stop]

    @cached_property
    def keys(self) -> list[Key]:
        """With and without each driver, at each of its knots."""
        of = [[column for column, hinge in enumerate(self.hinges) if hinge.driver == driver] for driver in DRIVERS]
        return list(itertools.product([-1, *of[0]], [-1, *of[1]]))

    def log_prior(self, key: Key) -> float:
        """A driver is in or out with equal chance, and its knots share the chance of being in; up to a constant."""
        among = [sum(other.driver == self.hinges[column].driver for other in self.hinges) for column in hinges_of(key)]
        return -math.log(math.prod(among))

    def prior(self, rows: Whole, key: Key = PLAIN) -> Prior:
        """Covariance of the latents at the counts for `rows` of the lattice under one key."""
        kernel = LATTICE.sd[rows, None, None] ** 2 * self.kernels[LATTICE.process[rows]]
        active = hinges_of(key)
        return Prior(kernel, INTERCEPT_SD**2, self.own, self.beyond[:, active], self.slope_variance[active])

    def batches(self, rows: Whole) -> list[Whole]:
        """`rows` of the lattice in pieces whose kernels fit in memory together."""
        pieces = int(np.ceil(rows.size * self.counted.seeds.size**2 * 8 / BATCH))
        return np.array_split(rows, max(1, pieces))
