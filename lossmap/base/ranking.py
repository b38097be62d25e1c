"""An order of harvest with its doubt: what `drydown` finds and `report` writes."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from lossmap.base.estimates import Estimate
from lossmap.base.farm import Farm, StandingField
from lossmap.base.rank_settings import RankSettings

__all__ = ["Before", "Block", "Gain", "Label", "LostHours", "RankedField", "Ranking"]

#: How sure it is that one field should go before another.
Label = Literal["firm", "likely", "toss-up"]
Block = Literal["now", "next", "later"]


@dataclass(frozen=True)
class Before:
    """One field before the next of the same machine, against the two exchanged.

    Attributes
    ----------
    other : str
        The next field.
    chance : float
        Share of seasons drawn in which the exchange costs money.
    gain_usd : Estimate
        What it costs, over both fields [USD].
    label : Label
    """

    other: str
    chance: float
    gain_usd: Estimate
    label: Label


@dataclass(frozen=True)
class RankedField:
    """One field in the order.

    Attributes
    ----------
    field : StandingField
    rank : int
        1 is cut first.
    combine : str
    cut_on, early_on, late_on : date
        Day on which it is begun: median, and the range of 8 years in 10, if the order is kept.
    done_on : date
        Median day on which it is done.
    best_on : date
        Day on which cutting it alone would bring most.
    block : Block
    moisture_now_pct, moisture_pct : Estimate
        Today, and when it is cut.
    wait_usd_ha_day, wait_kg_ha_day, wait_usd_ha_week : Estimate
        What one day, one week of waiting from today costs; below 0 where waiting pays.
    wait_parts_usd_ha_week : mapping of str to float
        Of the week, by where the money goes (`drydown.money.PARTS`).
    curve_usd_ha : tuple of float
        Expected cost of cutting it on each day from today on, above its best day.
    first_chance : float
        Share of seasons in which it is the best field to begin with on its machine; NaN where that was not tried.
    before : Before or None
        None for the last of a machine.
    reading_age_days : int
    reading_worth_usd : float
        What a new reading today would save in the mean by a better choice of the first field.
    """

    field: StandingField
    rank: int
    combine: str
    cut_on: datetime.date
    early_on: datetime.date
    late_on: datetime.date
    done_on: datetime.date
    best_on: datetime.date
    block: Block
    moisture_now_pct: Estimate
    moisture_pct: Estimate
    wait_usd_ha_day: Estimate
    wait_kg_ha_day: Estimate
    wait_usd_ha_week: Estimate
    wait_parts_usd_ha_week: Mapping[str, float]
    curve_usd_ha: tuple[float, ...]
    first_chance: float
    before: Before | None
    reading_age_days: int
    reading_worth_usd: float


@dataclass(frozen=True)
class Gain:
    """What the order saves over a rule [USD on the farm], and in which share of seasons the rule does as well."""

    rule: str
    usd: Estimate
    rule_as_good: float


@dataclass(frozen=True)
class LostHours:
    """What the whole farm loses if a machine stands still from now on, once: an hour (of a day's), a day, three days [USD]."""

    combine: str
    hour_usd: float
    day_usd: float
    three_days_usd: float


@dataclass(frozen=True)
class Ranking:
    """An order of harvest.

    Attributes
    ----------
    farm : Farm
    settings : RankSettings
    on : date
        The day of the plan.
    fields : tuple of RankedField
        In their order.
    gains : tuple of Gain
        Over driest first, biggest first, nearest first (where places are known).
    lost_hours : tuple of LostHours
        By machine.
    work_h, season_h : float
        Hours of cutting and moving, over all machines; hours fit for harvest in a mean season, of one machine.
    years : tuple of int
        Past years whose weather may come.
    forecast_days : int
    measure : str or None
        Field whose new reading would tell most.
    proof_usd : float
        How far above the best of all orders the plan is at most, moves left out [USD]; NaN where nobody asked.
    dryer_binds : bool
        Whether the dryer's limit makes a field take longer.
    notes : tuple of str
    inputs : mapping of str to str
        Input file to its SHA-256.
    """

    farm: Farm
    settings: RankSettings
    on: datetime.date
    fields: tuple[RankedField, ...]
    gains: tuple[Gain, ...]
    lost_hours: tuple[LostHours, ...]
    work_h: float
    season_h: float
    years: tuple[int, ...]
    forecast_days: int
    measure: str | None
    proof_usd: float
    dryer_binds: bool
    notes: tuple[str, ...]
    inputs: Mapping[str, str]
