"""How a field's loss divides by source: draws of the whole field from the count model.

Total and shares are drawn together at places that stand for the field, so sources add up to
the total in every draw, none is ever negative, and the interval of each knows what the
others take from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.grid import Floats
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.positions import Part

__all__ = ["Division", "divided"]

# Half of the draws; the other half are their mirror images, which makes means exact where g is linear.
HALF_DRAWS = 500
# Keeps a covariance that rounding made indefinite positive.
JITTER = 1e-8


@dataclass(frozen=True)
class Division:
    """The field's mean of each part in each draw.

    Attributes
    ----------
    parts : tuple of Part
    amounts : array, ``[draw, part]``
        In the unit of `Counted.worth`, as if masses were known.
    masses : array, ``[draw, part]``
        Factor on each from what a seed or an ear may weigh; one for all of a kind.
    """

    parts: tuple[Part, ...]
    amounts: Floats
    masses: Floats

    def source(self, name: str, total: float) -> tuple[Estimate, Estimate]:
        """A source's field mean, of which the parts' sum is `total`, and its share of the loss [%].

        `NOTHING` twice where no part is that source alone.
        """
        having = [number for number, part in enumerate(self.parts) if name in part.sources]
        if any(self.parts[number].sources != (name,) for number in having):
            return NOTHING, NOTHING
        whole = self.amounts.sum(axis=1)
        by = total / float(whole.mean())
        weighed = self.amounts * self.masses
        amount = _estimate(by * self.amounts[:, having].sum(axis=1), by * weighed[:, having].sum(axis=1))
        of_all = 100 * self.amounts[:, having].sum(axis=1) / whole
        return amount, _estimate(of_all, 100 * weighed[:, having].sum(axis=1) / weighed.sum(axis=1))


def divided(
    model: CountModel, parts: tuple[Part, ...], places_m: Floats, speed: Floats | None, moisture: Floats | None, rng_seed: int
) -> Division:
    """Draw the field's mean of each part.

    Parameters
    ----------
    model : CountModel
    parts : tuple of Part
    places_m, speed, moisture : array, ``[place, ...]``
        Some hundred places spread evenly over the field.
    rng_seed : int
    """
    rng = np.random.default_rng(rng_seed)
    mean, covariance = model.joint(places_m, speed, moisture)
    root = np.linalg.cholesky(covariance.reshape(mean.size, mean.size) + JITTER * np.eye(mean.size))
    steps = rng.standard_normal((HALF_DRAWS, mean.size)) @ root.T
    drawn = (mean.ravel() + np.concatenate([steps, -steps])).reshape(-1, *mean.shape)
    total = np.exp(np.einsum("p,dpk->dk", model.share_, drawn))
    weight = model.share_[:, None] * np.exp(drawn)
    amounts = total[:, None] * weight / weight.sum(axis=1, keepdims=True)
    of_kind = {is_ears: rng.permutation(_normal(len(drawn))) for is_ears in (False, True)}
    masses = np.column_stack([np.exp(part.mass_doubt * of_kind[part.is_ears]) for part in parts])
    return Division(parts, model.level_ * amounts.mean(axis=2), masses)


def _normal(number: int) -> Floats:
    """Points of a standard normal, each as likely as the next."""
    return np.asarray(ndtri((np.arange(number) + 0.5) / number))


def _estimate(values: Floats, with_doubt: Floats) -> Estimate:
    """Mean of the values and 90 % interval of those with all doubt."""
    mean = float(values.mean())
    low, high = (float(end) for end in np.quantile(with_doubt, (0.05, 0.95)))
    return Estimate(mean, min(low, mean), max(high, mean))
