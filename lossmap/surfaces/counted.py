"""What was counted in a field, and what each count sees of the parts of the loss.

Seed only ever adds up along the combine's way. In front of it lies what fell before
harvest, behind the header that and what the header lost, behind the combine that and what
the machine lost (concentrated where residue falls in a windrow). Each is one *part* of the
loss; a count sees the parts that lie on its area, so a stop with any of the positions speaks
of the total, and what divides it is never a difference of counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats
from lossmap.surfaces.lattice import PART_SD, Whole

__all__ = ["Counted"]

# Steps towards the likeliest rates of the parts, which only centre the intercepts.
RATE_STEPS = 300
# Clumping that the rates' own doubt is reckoned with.
RATE_SIZE = 2.5
# Variance of a part's process where counts do not tell it (common practice, no source).
PART_PROCESS = 0.35
# Standard errors from 0 at which half of a part's prior share is taken from the counts.
CLEAR = 2.0


@dataclass(frozen=True)
class Counted:
    """Every count of a field, one row each.

    Attributes
    ----------
    stop : array of int, ``[count]``
        Which of the stops it was taken at.
    seeds, area_m2 : array, ``[count]``
        How many (need not be whole) on how much ground, above 0.
    sees : array, ``[count, part]``
        What a square metre there holds of each part: 0, 1, or more where residue is concentrated.
    worth : array, ``[part]``
        What a seed a square metre of each part weighs [kg/ha] (or counts as, in any one unit).
    breadth : array, ``[count]``
        Area over the mean area of its kind.
    usual : array, ``[part]``, optional
        Share of each part in the total that is to be expected before any count; alike where not given.
    """

    stop: Whole
    seeds: Floats
    area_m2: Floats
    sees: Floats
    worth: Floats
    breadth: Floats
    usual: Floats | None = None

    @classmethod
    def total(cls, seeds: npt.ArrayLike, area_m2: npt.ArrayLike) -> Counted:
        """One count a stop, of all loss together, in seeds a square metre."""
        number, area = np.asarray(seeds, float), np.asarray(area_m2, float)
        return cls(np.arange(number.size), number, area, np.ones((number.size, 1)), np.ones(1), area / area.mean())

    def rates(self) -> Floats:
        """Likely mean of each part over the field [1/m2], ``[part]``: where the shares' priors are centred.

        The counts speak again in the fit, so a part's share is taken from them here only as
        far as it is many standard errors from 0; a part that they hardly tell is put at its
        usual share. The total stays.
        """
        looked_at = self.area_m2[:, None] * self.sees
        likeliest = self._likeliest(looked_at)
        return likeliest if likeliest.size == 1 else self._towards_usual(likeliest, looked_at)

    def _likeliest(self, looked_at: Floats) -> Floats:
        """Rates that make the counts likeliest, taken as Poisson over the field; expectation maximisation keeps them positive."""
        # half a seed keeps rates finite where none was found
        rates = np.full(self.sees.shape[1], (self.seeds.sum() + 0.5) / looked_at.sum())
        for _ in range(RATE_STEPS):
            mean = looked_at @ rates
            rates = (rates * (looked_at.T @ (self.seeds / mean)) + 0.5 / RATE_STEPS) / looked_at.sum(axis=0)
        return np.asarray(rates)

    def _towards_usual(self, rates: Floats, looked_at: Floats) -> Floats:
        """The same total, each part's share between its likeliest and its usual one."""
        mean = np.maximum(looked_at @ rates, 1e-12)
        information = looked_at.T @ (looked_at / (mean + mean**2 / (RATE_SIZE * self.breadth))[:, None])
        error = np.sqrt(np.linalg.pinv(information).diagonal())
        total = self.worth @ rates
        share, doubt = self.worth * rates / total, self.worth * error / total
        usual = np.full(rates.size, 1 / rates.size) if self.usual is None else self.usual
        told = share**2 / (share**2 + (CLEAR * doubt) ** 2)
        # what is not told is log-normal, whose mean lies above its middle; the largest part is what the others are left of
        middle = np.where(usual == usual.max(), usual, usual * np.exp(-(PART_SD**2 + PART_PROCESS) / 2))
        drawn = share**told * middle ** (1 - told)
        return np.asarray(drawn / drawn.sum() * total / self.worth)
