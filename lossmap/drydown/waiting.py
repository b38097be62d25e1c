"""What a field loses while it waits: before harvest by time and wetting, at the header by dryness, in the machine by wetness."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.farm import MeasuredLoss
from lossmap.base.grid import Floats
from lossmap.base.reference import standability

__all__ = ["Lost", "OwnLoss", "lost", "stalk_factor", "wettings"]

#: Grain is wetted again when it gains so many points, once it was below [%] (assumptions; pods grow brittle by wet-dry cycles [MU1280]).
WETTING_STEP, WETTING_BELOW = 1.5, 13.5
#: No model of a harvest holds beyond this share of the yield lost.
MOST = 0.95


@dataclass(frozen=True)
class OwnLoss:
    """What sets a field's loss apart from its crop's usual.

    Attributes
    ----------
    stalks : float
        `stalk_factor` of the field.
    measured : MeasuredLoss or None
        Counts of a mapped field: they set the machine's level, and its slope where loss was seen to track dryness.
    before, machine : array or float
        What loss before harvest and in the machine is multiplied by (its doubt).
    """

    stalks: float = 1.0
    measured: MeasuredLoss | None = None
    before: Floats | float = 1.0
    machine: Floats | float = 1.0


#: A field of which nothing of its own is known.
USUAL = OwnLoss()


@dataclass(frozen=True)
class Lost:
    """Shares of the yield, of what stood before it: preharvest of all, header and threshing of what was left to gather."""

    preharvest: Floats
    header: Floats
    threshing: Floats

    @property
    def total(self) -> Floats:
        """Share of the whole yield."""
        return np.asarray(1 - (1 - self.preharvest) * (1 - self.header - self.threshing))


def stalk_factor(fail_of_ten: float | None) -> float:
    """How many times the usual loss before harvest, by stalks of ten that fail a push; 1 where nobody pushed (assumed)."""
    if fail_of_ten is None:
        return 1.0
    known = standability()
    return float(np.interp(fail_of_ten, [fails for fails, _ in known], [times for _, times in known]))


def lost(
    moisture_pct: Floats, since_maturity: npt.ArrayLike, wetted: npt.ArrayLike, figures: Mapping[str, float], own: OwnLoss = USUAL
) -> Lost:
    """Loss if cut at a moisture, so many days after maturity.

    Parameters
    ----------
    moisture_pct : array
        When cut [%].
    since_maturity : array
        Days.
    wetted : array
        Times that dry grain was wetted again.
    figures : mapping of str to float
        Of ``waiting.csv``.
    own : OwnLoss, optional
        By default the crop's usual.

    Returns
    -------
    Lost
        Broadcast of all.
    """
    days = np.maximum(np.asarray(since_maturity, float), 0.0)
    weathering = figures["weathering"] * days + figures["lodging_at_50_days"] * (days / 50) ** 3
    preharvest = own.stalks * (weathering + figures["per_wetting"] * np.asarray(wetted, float)) * own.before
    header, threshing = _machine(moisture_pct, figures)
    if own.measured is not None:
        header, threshing = _as_measured(moisture_pct, header, threshing, figures, own.measured)
    gathered = np.minimum((header + threshing) * own.machine, MOST)
    of_header = header / (header + threshing)
    return Lost(np.minimum(preharvest, MOST), np.asarray(gathered * of_header), np.asarray(gathered * (1 - of_header)))


def _machine(moisture_pct: npt.ArrayLike, figures: Mapping[str, float]) -> tuple[Floats, Floats]:
    """Header and threshing loss of the crop's usual machine at a moisture."""
    m = np.asarray(moisture_pct, float)
    header = (
        figures["header_base"]
        + figures["header_per_dry_point"] * np.maximum(figures["header_dry_below"] - m, 0)
        + figures["header_per_brittle_point"] * np.maximum(figures["header_brittle_below"] - m, 0)
    )
    threshing = figures["threshing_base"] + figures["threshing_per_wet_point"] * np.maximum(m - figures["threshing_wet_above"], 0)
    return np.asarray(header), np.asarray(threshing)


def _as_measured(
    moisture_pct: Floats, header: Floats, threshing: Floats, figures: Mapping[str, float], measured: MeasuredLoss
) -> tuple[Floats, Floats]:
    """The same loss as was counted, at the moisture at which it was counted."""
    if measured.per_dry_point > 0:
        # the counts' own slope instead of the published one, on top of the dampest end
        header = figures["header_base"] * np.exp(measured.per_dry_point * np.maximum(measured.dry_below_pct - moisture_pct, 0))
        there = figures["header_base"] * np.exp(measured.per_dry_point * max(measured.dry_below_pct - measured.moisture_pct, 0))
        there = float(there) + float(_machine(measured.moisture_pct, figures)[1])
    else:
        there = float(sum(_machine(measured.moisture_pct, figures)))
    by = measured.share.mean / there
    return np.asarray(header * by), np.asarray(threshing * by)


def wettings(moisture_pct: Floats) -> Floats:
    """How often grain that had dried was wetted again up to each day, ``[day, ...]`` as the moisture."""
    out = np.zeros(moisture_pct.shape)
    count = np.zeros(moisture_pct.shape[1:])
    lowest = moisture_pct[0].astype(float)
    for day in range(1, len(moisture_pct)):
        here = moisture_pct[day]
        is_wetted = (lowest < WETTING_BELOW) & (here > lowest + WETTING_STEP)
        count = count + is_wetted
        # after a wetting the next one is counted from where it dries down to again
        lowest = np.where(is_wetted, here, np.minimum(lowest, here))
        out[day] = count
    return out
