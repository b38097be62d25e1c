"""Down to which ground speed slower pays, and how fast the reel runs against the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lossmap.base.estimates import Driver, Estimate, Pace, ReelSpeed, SlopeEvidence
from lossmap.base.grid import Floats
from lossmap.zones.effects import likely_effects, middle

__all__ = ["Costs", "pace", "reel_speed"]

#: Speeds that were driven: those between these parts of the field. Beyond them nothing was seen.
DRIVEN = (0.05, 0.95)

#: An interval of the best speed that spans more of the driven range than this tells no speed from another.
MOST_OF_RANGE = 0.67

# Speeds tried within the driven range.
SPEEDS = 401

_SECONDS_AN_HOUR, _M2_A_HECTARE = 3600.0, 10_000.0


@dataclass(frozen=True)
class Costs:
    """What an hour and the grain are worth, and how much ground an hour covers.

    Attributes
    ----------
    hour_usd_h : float or None
        Value of an hour of the combine with all that waits behind it [USD/h]; None: not given.
    price_usd_kg : float or None
        Of the grain [USD/kg]; None: not given.
    header_width_m : float
    efficiency_pct : float
        Share of the hours that is spent cutting [%].
    """

    hour_usd_h: float | None
    price_usd_kg: float | None
    header_width_m: float
    efficiency_pct: float

    @property
    def missing(self) -> tuple[str, ...]:
        """The settings that were not given."""
        given = {"report.hour_value": self.hour_usd_h, "report.price": self.price_usd_kg}
        return tuple(name for name, value in given.items() if value is None)

    def hectares_an_hour(self, speed_m_s: Floats | float) -> Floats:
        """Ground covered, the time not spent cutting taken off [ha/h]."""
        share = self.efficiency_pct / 100
        return np.asarray(self.header_width_m * np.asarray(speed_m_s) * share * _SECONDS_AN_HOUR / _M2_A_HECTARE)


def pace(found: Driver, evidence: SlopeEvidence, speed_m_s: Floats, mean_kg_ha: Estimate, costs: Costs) -> Pace:
    """Down to which ground speed slower pays.

    An acre costs the hours it takes, ``hour / (width speed efficiency)``, and the grain that
    lies on it, ``price loss(speed)``. The speed that costs least is sought, within the speeds
    driven, for each of a set of equally likely effects (`likely_effects`); their spread is the
    interval. The share of time spent cutting is taken as the same at every speed.

    Loss is that of all sources, since the slope is that of all sources: what fell before harvest
    is the same at every speed and drops out of every saving. A slope of all loss put to a part
    of it would make each saving too small by the other part.

    Parameters
    ----------
    found : Driver
        Verdict on speed; nothing is said unless it ``tracks``.
    evidence : SlopeEvidence
        Of speed: the slope of log loss by m/s, its sd, and X [m/s].
    speed_m_s : array, ``[cell]``
        Ground speed over the field [m/s]; NaN where unknown.
    mean_kg_ha : Estimate
        Mean loss over the field, all sources [kg/ha].
    costs : Costs

    Returns
    -------
    Pace
        Its verdict says why, where there is no range.
    """
    driven = speed_m_s[np.isfinite(speed_m_s) & (speed_m_s > 0)]
    if found.verdict != "tracks":
        return Pace("no link")
    if not driven.size or not mean_kg_ha.mean > 0 or not math.isfinite(evidence.sd):
        return Pace("not known")
    if costs.hour_usd_h is None or costs.price_usd_kg is None:
        return Pace("not priced", missing=costs.missing)
    return _priced(_Bill(evidence, driven, mean_kg_ha, costs, (costs.hour_usd_h, costs.price_usd_kg)))


def _priced(bill: _Bill) -> Pace:
    """The speed that costs least, and what it saves."""
    speeds = np.linspace(bill.slowest, bill.fastest, SPEEDS)
    best = middle(speeds[np.argmin(bill.at(speeds), axis=1)])
    today = float(bill.driven.mean())
    before, after = bill.at(np.array([today, best.mean])).T
    an_hour = float(bill.costs.hectares_an_hour(best.mean))
    gain, even = before - after, bill.as_driven() - after
    is_told = bill.fastest - bill.slowest > 0 and best.high - best.low <= MOST_OF_RANGE * (bill.fastest - bill.slowest)
    return Pace(
        "told" if is_told else "not told apart",
        best,
        today,
        bill.slowest,
        bill.fastest,
        middle(gain),
        middle(gain * an_hour),
        middle(even),
        middle(even * an_hour),
        bill.hour_usd_h,
        bill.costs.efficiency_pct,
    )


class _Bill:
    """What a hectare costs, for each of the equally likely readings of the effect."""

    def __init__(self, evidence: SlopeEvidence, driven: Floats, mean_kg_ha: Estimate, costs: Costs, prices: tuple[float, float]) -> None:
        self.costs, self.driven = costs, driven
        self.hour_usd_h, self.price_usd_kg = prices
        self.slowest, self.fastest = (float(end) for end in np.quantile(driven, DRIVEN))
        self.effects = likely_effects(evidence, driven, mean_kg_ha)

    def as_driven(self) -> Floats:
        """``[reading]``, USD/ha, at the field's own speeds; a cell where the machine all but stood counts as a slow one."""
        hours = (1 / self.costs.hectares_an_hour(np.clip(self.driven, self.slowest, self.fastest))).mean()
        return np.asarray(self.hour_usd_h * hours + self.price_usd_kg * self.effects.losses)

    def at(self, speed_m_s: Floats) -> Floats:
        """``[reading, speed]``, USD/ha."""
        return np.asarray(self.hour_usd_h / self.costs.hectares_an_hour(speed_m_s) + self.price_usd_kg * self.effects.at(speed_m_s))


def reel_speed(diameter_m: float, rpm: float, speed_m_s: Floats) -> ReelSpeed | None:
    """How fast the reel's tips ran against the ground; None without a speed.

    Index = pi diameter turns / ground speed; 1 keeps pace with the ground.

    Parameters
    ----------
    diameter_m : float
        Of the circle the reel's tips draw [m].
    rpm : float
        Its turns a minute.
    speed_m_s : array, ``[cell]``
        Ground speed over the field [m/s]; NaN where unknown.
    """
    driven = speed_m_s[np.isfinite(speed_m_s) & (speed_m_s > 0)]
    if not driven.size:
        return None
    tip_m_s = math.pi * diameter_m * rpm / 60
    mean = float(driven.mean())
    slow, fast = (float(end) for end in np.quantile(driven, DRIVEN))
    return ReelSpeed(tip_m_s / mean, tip_m_s / slow, tip_m_s / fast, mean, 60 * mean / (math.pi * diameter_m))
