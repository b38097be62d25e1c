"""Down to which ground speed slower pays, and how fast the reel runs against the ground."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.estimates import Z90, Beginning, Driver, Estimate, Pace, ReelSpeed, SlopeEvidence, normal_points

__all__ = ["Costs", "machine_loss", "pace", "reel_speed"]

Floats = npt.NDArray[np.float64]

#: Speeds that were driven: those between these parts of the field. Beyond them nothing was seen.
DRIVEN = (0.05, 0.95)

#: An interval of the best speed that spans more of the driven range than this tells no speed from another.
MOST_OF_RANGE = 0.67

# Middles of slices of equal probability: of the slope, of the machine's loss; and speeds tried within the driven range.
SLOPES, LOSSES, SPEEDS = 101, 9, 401

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


def pace(found: Driver, evidence: SlopeEvidence, speed_m_s: Floats, machine_kg_ha: Estimate, costs: Costs) -> Pace:
    """Down to which ground speed slower pays.

    An acre costs the hours it takes, ``hour / (width speed efficiency)``, and the grain the
    machine leaves on it, ``price loss(speed)``. Loss grows as ``exp(slope (speed - X))`` above
    the reference X and is level below it, at a height at which the field's speeds as driven
    give the loss that was counted. The speed that costs least is sought, within the speeds
    driven, for each of a set of equally likely slopes and losses; their spread is the interval.
    X is in doubt too where the evidence says from which speeds the effect may begin; the share
    of time spent cutting is taken as the same at every speed.

    Parameters
    ----------
    found : Driver
        Verdict on speed; nothing is said unless it ``tracks``.
    evidence : SlopeEvidence
        Of speed: the slope of log loss by m/s, its sd, and X [m/s].
    speed_m_s : array, ``[cell]``
        Ground speed over the field [m/s]; NaN where unknown.
    machine_kg_ha : Estimate
        What the machine loses on average over the field, as `machine_loss` gives it [kg/ha].
    costs : Costs

    Returns
    -------
    Pace
        Its verdict says why, where there is no range.
    """
    driven = speed_m_s[np.isfinite(speed_m_s) & (speed_m_s > 0)]
    if found.verdict != "tracks":
        return Pace("no link")
    if not driven.size or not machine_kg_ha.mean > 0 or not math.isfinite(evidence.sd):
        return Pace("not known")
    if costs.hour_usd_h is None or costs.price_usd_kg is None:
        return Pace("not priced", missing=costs.missing)
    return _priced(_Bill(evidence, driven, machine_kg_ha, costs, (costs.hour_usd_h, costs.price_usd_kg)))


def _priced(bill: _Bill) -> Pace:
    """The speed that costs least, and what it saves."""
    speeds = np.linspace(bill.slowest, bill.fastest, SPEEDS)
    best = _estimate(speeds[np.argmin(bill.at(speeds), axis=1)])
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
        _estimate(gain),
        _estimate(gain * an_hour),
        _estimate(even),
        _estimate(even * an_hour),
        bill.hour_usd_h,
        bill.costs.efficiency_pct,
    )


class _Bill:
    """What a hectare costs, for each of the equally likely pairs of slope and loss."""

    def __init__(self, evidence: SlopeEvidence, driven: Floats, machine_kg_ha: Estimate, costs: Costs, prices: tuple[float, float]) -> None:
        self.costs, self.driven = costs, driven
        self.hour_usd_h, self.price_usd_kg = prices
        self.slowest, self.fastest = (float(end) for end in np.quantile(driven, DRIVEN))
        slopes, self.references = _slopes(evidence)
        # a few hundred quantiles of the field's speeds stand for its cells
        usual = np.quantile(driven, (np.arange(512) + 0.5) / 512)
        by_speed = np.exp(slopes[:, None] * np.maximum(usual - self.references[:, None], 0)).mean(axis=1)
        losses = _losses(machine_kg_ha)
        self.slopes, self.references = np.repeat(slopes, losses.size), np.repeat(self.references, losses.size)
        self.losses = np.tile(losses, slopes.size)
        self.at_reference = (losses / by_speed[:, None]).ravel()

    def as_driven(self) -> Floats:
        """``[pair]``, USD/ha, at the field's own speeds; a cell where the machine all but stood counts as a slow one."""
        hours = (1 / self.costs.hectares_an_hour(np.clip(self.driven, self.slowest, self.fastest))).mean()
        return np.asarray(self.hour_usd_h * hours + self.price_usd_kg * self.losses)

    def at(self, speed_m_s: Floats) -> Floats:
        """``[pair, speed]``, USD/ha."""
        beyond = np.maximum(speed_m_s - self.references[:, None], 0)
        lost = self.price_usd_kg * self.at_reference[:, None] * np.exp(self.slopes[:, None] * beyond)
        return np.asarray(self.hour_usd_h / self.costs.hectares_an_hour(speed_m_s) + lost)


def _slopes(evidence: SlopeEvidence) -> tuple[Floats, Floats]:
    """Equally likely slopes, each with the speed from which it acts: as many from each beginning as it is likely.

    Beginnings are a few speeds that were tried; the effect may as well begin anywhere between
    them, so each stands for the stretch up to half-way to its neighbours.
    """
    known = sorted(evidence.beginnings, key=lambda one: one.reference)
    known = known or [Beginning(evidence.reference, 1.0, evidence.slope.mean, evidence.sd)]
    weights = np.array([one.weight for one in known])
    numbers = np.rint(SLOPES * weights / weights.sum()).astype(int)
    edges = _edges(np.array([one.reference for one in known]))
    drawn = [one.slope + one.sd * normal_points(number) for one, number in zip(known, numbers, strict=True)]
    begun = [low + (high - low) * _shuffled(number) for low, high, number in zip(edges[:-1], edges[1:], numbers, strict=True)]
    return np.concatenate(drawn), np.concatenate(begun)


def _edges(references: Floats) -> Floats:
    """Ends of the stretch that each of the ascending `references` stands for; a single one stands for itself."""
    if len(references) == 1:
        return np.repeat(references, 2)
    middles = (references[:-1] + references[1:]) / 2
    return np.concatenate([[2 * references[0] - middles[0]], middles, [2 * references[-1] - middles[-1]]])


def _shuffled(number: int) -> Floats:
    """Numbers spread evenly over 0 to 1, out of order in the same way every time (multiples of the golden ratio)."""
    return np.asarray((np.arange(number) + 0.5) * (math.sqrt(5) - 1) / 2 % 1)


def _losses(machine_kg_ha: Estimate) -> Floats:
    """Equally likely values of a log-normal with that mean and about that 90 % interval; one where no interval is known."""
    sd = (machine_kg_ha.high - machine_kg_ha.low) / (2 * Z90)
    if not math.isfinite(sd):
        return np.array([machine_kg_ha.mean])
    variance = math.log1p((sd / machine_kg_ha.mean) ** 2)
    return np.asarray(np.exp(math.log(machine_kg_ha.mean) - variance / 2 + math.sqrt(variance) * normal_points(LOSSES)))


def _estimate(values: Floats) -> Estimate:
    """Middle and 90 % interval."""
    low, middle, high = (float(value) for value in np.quantile(values, (0.05, 0.5, 0.95)))
    return Estimate(middle, low, high)


def machine_loss(loss: Mapping[str, Estimate]) -> Estimate:
    """What speed can act on: header and threshing loss together [kg/ha]; the total where they cannot be told from what fell before.

    Parameters
    ----------
    loss : mapping of str to Estimate
        ``total, preharvest, header, threshing`` over the field [kg/ha]. The doubts of two
        parts are added as if they erred apart, which is on the wide side: what one count
        gives to the header it takes from the machine.
    """
    total, before, header, threshing = (loss[source] for source in ("total", "preharvest", "header", "threshing"))
    if header and threshing:
        return _added(header, threshing)
    return _added(total, Estimate(-before.mean, -before.high, -before.low)) if total and before else total


def _added(one: Estimate, other: Estimate) -> Estimate:
    mean = one.mean + other.mean
    below, above = (math.hypot(getattr(one, end) - one.mean, getattr(other, end) - other.mean) for end in ("low", "high"))
    return Estimate(mean, mean - below, mean + above)


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
