"""What is believed of log loss before any count: the lattice of its process, and the priors of its level and slopes.

Log loss is a level, slopes along the drivers, and a Gaussian process with covariance
``sd^2 k(distance / range)``; counts scatter about it as a negative binomial of a size does.
How far the process moves loss (sd), over what distance (range), how roughly (k) and how
clumped seed lies (size) nobody knows beforehand, and few counts hardly say. So none of them
is optimised: all are taken from one fixed lattice, and what the counts make of each row of
it is summed. k is rough, exp(-x), or smooth, (1 + x) exp(-x) (Matern 1/2 and 3/2): either
alone maps the other's fields worse.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial.distance import cdist

from lossmap.base.grid import Floats
from lossmap.base.logloss import FALLEN

__all__ = ["INTERCEPT_SD", "LATTICE", "MIDDLE", "PART_SD", "RANGE", "ROUGH", "SIZE", "SLOPE_SD", "Lattice", "Whole", "correlations"]

Whole = npt.NDArray[np.intp]

# Axes of the lattice. Ranges, at which correlation has fallen to 0.37, as shares of the field's diagonal:
# those of rough processes first, of smooth ones after. They halve, so that `correlations` can square.
SD = np.array([0.1, 0.2, 0.35, 0.55, 0.85])
ROUGH, SMOOTH = 6, 5
RANGE = 0.5 ** np.concatenate([np.arange(1, 1 + ROUGH), np.arange(1, 1 + SMOOTH)])
SIZE = np.array([1.0, 2.5, 6.0, 15.0, 50.0])

# Priors: exponential on sd and on the clumping 1/sqrt(size). On the logarithm of the range it
# falls with the range's root: loss changes over tens of metres at least as readily as over
# hundreds, and a range that is taken too long makes a map too sure of itself.
SD_MEAN, CLUMPING_MEAN = 0.4, 0.3

#: Prior sd of the intercept that all parts share. It is centred at the counts' own level, and wide enough to be moved far from it.
INTERCEPT_SD = 2.0
#: Prior sd of what each part's intercept has alone: a wider one draws small parts up.
PART_SD = 0.7
#: Prior sd of the slopes of log loss, per m/s and per point of moisture: between a moderate
#: effect (x1.49 for +0.5 m/s, x1.65 for -2 points) and one of twice that.
SLOPE_SD = {"speed": 1.2, "dryness": 0.4}


@dataclass(frozen=True)
class Lattice:
    """Every combination of sd, process and size, ``[row]`` each.

    Attributes
    ----------
    sd : array
        Standard deviation of a part's process of log loss.
    process : array of int
        Index into `RANGE`, which tells its range and whether it is rough.
    size : array
        Of the negative binomial, on an area of mean size.
    prior : array
        Adds to 1.
    """

    sd: Floats
    process: Whole
    size: Floats
    prior: Floats

    @classmethod
    def whole(cls) -> Lattice:
        """All combinations of the axes, each with its prior: density times the width of lattice that a value stands for."""
        axes = np.meshgrid(np.arange(SD.size), np.arange(RANGE.size), np.arange(SIZE.size), indexing="ij")
        sd, process, size = (axis.ravel() for axis in axes)
        clumping = 1 / np.sqrt(SIZE)
        of_sd = np.exp(-SD / SD_MEAN) * np.abs(np.gradient(SD))
        of_size = np.exp(-clumping / CLUMPING_MEAN) * np.abs(np.gradient(clumping))
        prior = of_sd[sd] / np.sqrt(RANGE[process]) * of_size[size]
        return cls(SD[sd], process, SIZE[size], prior / prior.sum())

    @property
    def rows(self) -> Whole:
        """All of them."""
        return np.arange(self.sd.size)

    @property
    def log_prior(self) -> Floats:
        """Logarithm of the prior."""
        return np.log(self.prior)


LATTICE = Lattice.whole()
#: The row in the lattice's middle.
MIDDLE = np.array([LATTICE.sd.size // 2])


def correlations(places_m: Floats, other_m: Floats, longest_m: float) -> Iterator[Floats]:
    """Correlation between places under each process, in the order of `RANGE`; what is yielded lives until the next.

    Halving the range squares an exponential, so two exponentials serve all processes.

    Parameters
    ----------
    places_m, other_m : array, ``[place, 2]``
    longest_m : float
        What the longest range is [m].

    Yields
    ------
    array, ``[place, other place]``
    """
    far = cdist(places_m, other_m)
    far /= longest_m
    falling = np.exp(-far)
    for step in range(ROUGH):
        if step:
            np.square(falling, out=falling)
        yield falling
    far *= FALLEN
    np.exp(-far, out=falling)
    for step in range(SMOOTH):
        if step:
            np.square(falling, out=falling)
            far *= 2
        yield (1 + far) * falling
