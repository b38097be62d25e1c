"""What a field's grain is worth on the day it is cut, and where the rest of the money went."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.farm import Money
from lossmap.base.grid import Floats
from lossmap.drydown.waiting import Lost

__all__ = ["PARTS", "Worth", "discount", "wet_mass", "worth"]

#: Where money goes, in the order in which it goes.
PARTS = ("preharvest", "header", "threshing", "weight", "drying", "wet")
#: Share of what is left that goes for each point above the moisture at which a crop should be cut (assumption that keeps wet fields uncut).
TOO_WET = 0.05


@dataclass(frozen=True)
class Worth:
    """Money of one field on a day [USD/ha].

    Attributes
    ----------
    net : array
    parts : mapping of str to array
        What went at each of `PARTS`; with `net` they add to the yield times its price.
    grain_kg_ha : array
        Grain brought in, at market moisture.
    """

    net: Floats
    parts: dict[str, Floats]
    grain_kg_ha: Floats


def wet_mass(dry_kg: npt.ArrayLike, moisture_pct: npt.ArrayLike, market_pct: float) -> Floats:
    """Mass at a moisture of grain that is `dry_kg` at market moisture: water is all that differs.

    Examples
    --------
    >>> round(float(wet_mass(60, 18, 13)), 2)
    63.66
    """
    return np.asarray(np.asarray(dry_kg, float) * (100 - market_pct) / (100 - np.asarray(moisture_pct, float)))


def discount(moisture_pct: npt.ArrayLike, steps: tuple[tuple[float, float], ...]) -> Floats:
    """Share of the price a buyer takes off at a moisture: of the steps' moistures the highest below it holds."""
    m = np.asarray(moisture_pct, float)
    if not steps:
        return np.zeros(m.shape)
    above = np.array([moisture for moisture, _ in steps])
    off = np.array([0.0, *(share for _, share in steps)])
    return np.asarray(off[np.searchsorted(above, m, side="left")])


def worth(yield_kg_ha: float, moisture_pct: Floats, lost: Lost, money: Money, market_pct: float, cut_below_pct: float = 100.0) -> Worth:
    """What a hectare brings if cut at a moisture with a loss.

    Grain below market moisture is paid by its weight, which is short of water; grain above
    it pays for its drying, or is taken at a buyer's shrink and discount.

    Parameters
    ----------
    yield_kg_ha : float
        Standing, at market moisture.
    moisture_pct : array
    lost : Lost
        Of the same shape.
    money : Money
    market_pct : float
    cut_below_pct : float
        Above it a share goes for each point: grain that wet is damaged and cannot be stored.
    """
    m = np.asarray(moisture_pct, float)
    price = money.price_usd_kg
    standing = yield_kg_ha * (1 - lost.preharvest)
    grain = standing * (1 - lost.header - lost.threshing)
    wet = wet_mass(grain, m, market_pct)
    above = np.maximum(m - market_pct, 0)
    dried_down = wet * (1 - money.shrink * above) if money.shrink else grain
    paid = np.where(m > market_pct, dried_down * (1 - money.handling) * (1 - discount(m, money.discounts)), np.minimum(wet, grain))
    after_drying = paid * price - wet * money.drying_usd_kg_point * above
    too_wet = np.maximum(after_drying, 0) * np.minimum(TOO_WET * np.maximum(m - cut_below_pct, 0), 1.0)
    short = np.where(m > market_pct, 0.0, grain - np.minimum(wet, grain)) * price
    parts = {
        "preharvest": yield_kg_ha * lost.preharvest * price,
        "header": standing * lost.header * price,
        "threshing": standing * lost.threshing * price,
        "weight": short,
        "drying": grain * price - short - after_drying,
        "wet": too_wet,
    }
    return Worth(np.asarray(after_drying - too_wet), {name: np.asarray(part) for name, part in parts.items()}, np.asarray(grain))
