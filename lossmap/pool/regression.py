"""Fields' losses against what tells fields apart: random effects between fields, crops each at their own level.

The logarithm of a field's loss is its crop's level, slope times x, what fields differ by
for reasons unknown (normal, standard deviation ``tau``), and the counts' own doubt. Levels
and slope have flat priors, so given tau the slope is normal by generalised least squares;
tau is not estimated but summed over, by its restricted likelihood times a half-Cauchy prior
(Gelman 2006, from memory), which makes the slope's tails as heavy as few fields leave them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from lossmap.base.estimates import Estimate
from lossmap.base.grid import Floats

__all__ = ["Contrast", "contrast"]

# How much fields differ in the logarithm of loss: at least as likely less than this as more
# (common practice, no source: half as much again between one field and another).
BETWEEN = 0.4
# Quantiles of the prior at which tau is taken, each as likely as the next.
TAUS = BETWEEN * np.tan(np.pi / 2 * (np.arange(60) + 0.5) / 60)
# x that varies by less than this share of its size within crops tells nothing.
VARIES = 1e-9


@dataclass(frozen=True)
class Contrast:
    """Slope of log loss: a mixture of normals over tau, ``[tau]``."""

    weights: Floats
    means: Floats
    sds: Floats

    def chance(self) -> float:
        """That the slope is above 0."""
        return float(self.weights @ ndtr(self.means / self.sds))

    def two_sided(self) -> float:
        """Chance of a slope of the other sign, both signs looked for."""
        below = float(self.weights @ ndtr(-self.means / self.sds))
        return min(1.0, 2 * min(self.chance(), below))

    def interval(self, level: float = 0.9) -> Estimate:
        """Mean and the interval that holds the slope with this chance, as much left out below as above."""
        tail = (1 - level) / 2
        return Estimate(float(self.weights @ self.means), self._quantile(tail), self._quantile(1 - tail))

    def _quantile(self, share: float) -> float:
        """By halving: tails of few fields are too long for a grid."""
        low = float((self.means - 40 * self.sds).min())
        high = float((self.means + 40 * self.sds).max())
        for _ in range(80):
            middle = (low + high) / 2
            if float(self.weights @ ndtr((middle - self.means) / self.sds)) < share:
                low = middle
            else:
                high = middle
        return (low + high) / 2


def contrast(log_loss: Floats, variance: Floats, x: Floats, strata: npt.NDArray[np.intp]) -> Contrast | None:
    """Slope of the logarithm of loss over `x` within strata; None where no stratum has two values of x, or nothing is left over.

    Parameters
    ----------
    log_loss, variance : array, ``[field]``
        With the variance that the counts leave.
    x : array, ``[field]``
        1 for fields of one level and 0 for others, or a number.
    strata : array of int, ``[field]``
        Crop of each.
    """
    used, strata = np.unique(strata, return_inverse=True)
    if log_loss.size < used.size + 2 or not any(np.ptp(x[strata == crop]) > VARIES * np.abs(x).max() for crop in range(used.size)):
        return None
    is_of = (strata[:, None] == np.arange(used.size)).astype(float)
    weight = 1 / (variance + TAUS[:, None] ** 2)
    of_strata = weight @ is_of

    def centred(values: Floats) -> Floats:
        return np.asarray(values - ((weight * values) @ is_of / of_strata)[:, strata])

    inside, loss = centred(x), centred(log_loss)
    precision = (weight * inside**2).sum(axis=1)
    slope = (weight * inside * loss).sum(axis=1) / precision
    left = (weight * (loss - slope[:, None] * inside) ** 2).sum(axis=1)
    logs = 0.5 * (np.log(weight).sum(axis=1) - np.log(of_strata).sum(axis=1) - np.log(precision) - left)
    shares = np.exp(logs - logs.max())
    return Contrast(shares / shares.sum(), slope, precision**-0.5)
