"""Fields that stand to an order of harvest: the whole story of a ranking."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from lossmap.base.errors import TooLittleData, shown
from lossmap.base.farm import Combine, Farm, StandingField
from lossmap.base.grid import Floats
from lossmap.base.rank_settings import MoveSettings, RankSettings
from lossmap.base.ranking import Block, Gain, LostHours, RankedField, Ranking
from lossmap.drydown.chances import Costs, before, estimate, first_fields, reading_worths
from lossmap.drydown.money import PARTS, wet_mass
from lossmap.drydown.outlook import Outlook, outlook
from lossmap.drydown.proof import prove
from lossmap.drydown.search import Order, rule_order, search
from lossmap.drydown.timetable import Problem, Whole, backward, jobs

__all__ = ["as_problem", "rank", "rules"]

EARTH_M = 6_371_000.0
WEEK = 7
#: Below this gain by a better choice no new reading is asked for [USD].
LEAST_WORTH_USD = 10.0


def rank(farm: Farm, record: pd.DataFrame, on: datetime.date, settings: RankSettings, inputs: Mapping[str, str] | None = None) -> Ranking:
    """Which field to cut first, and how sure that is.

    Parameters
    ----------
    farm : Farm
    record : WEATHER
        This season's days, a forecast where there is one, and past years.
    on : date
        Today.
    settings : RankSettings
    inputs : mapping of str to str, optional
        Input file to its SHA-256, to be kept with the result.

    Raises
    ------
    SettingsError, NoReference, TooLittleData
        As `drydown.outlook`.
    """
    seen = outlook(farm, record, on, settings)
    problem = as_problem(farm, seen, settings)
    plan = search(problem, settings.search.rounds, settings.rng_seed)
    if not math.isfinite(plan.cost):
        raise _too_slow(farm, seen, "all fields together")
    costs = Costs(seen, problem)
    firsts = first_fields(costs, plan)
    worths = reading_worths(seen, firsts, settings.doubt.moisture_error_pct)
    told = _told(seen, problem, plan, settings)
    pairs = before(costs, plan, settings.page)
    chances = {field: chance for choice in firsts for field, chance in choice.chances().items()}
    fields = tuple(
        RankedField(
            field=seen.fields[field],
            rank=number,
            combine=farm.combines[int(plan.line_of(problem.fields)[field])].name,
            first_chance=chances.get(field, math.nan),
            before=pairs.get(field),
            reading_age_days=(on - seen.fields[field].readings[-1].on).days,
            reading_worth_usd=float(worths[field]),
            **told[field],
        )
        for number, field in enumerate(plan.in_time(), 1)
    )
    most_telling = int(np.argmax(worths))
    return Ranking(
        farm=farm,
        settings=settings,
        on=on,
        fields=fields,
        gains=tuple(_gain(costs, plan, rule, rule_order(problem, order)) for rule, order in rules(seen, problem).items()),
        lost_hours=tuple(_lost_hours(farm, problem, plan, line, seen.slot_h) for line in range(len(plan.lines))),
        work_h=_work_slots(problem, plan) * seen.slot_h,
        season_h=seen.slots * seen.slot_h,
        years=seen.weather.years,
        forecast_days=seen.weather.forecast_days,
        measure=seen.fields[most_telling].name if worths[most_telling] >= LEAST_WORTH_USD else None,
        proof_usd=_above_bound(problem, plan, settings.search.proof),
        dryer_binds=_dryer_binds(farm, seen, problem, plan),
        notes=seen.weather.notes,
        inputs=dict(inputs or {}),
    )


def as_problem(farm: Farm, seen: Outlook, settings: RankSettings) -> Problem:
    """The fields as jobs on each machine, with the moves between them."""
    cost = seen.cost_usd_ha()
    area = np.array([field.area_ha for field in seen.fields])
    long_day = max(combine.hours_per_day for combine in farm.combines)
    rates = sorted({_rate(combine, long_day) for combine in farm.combines})
    kinds = [jobs(cost, _slots_needed(farm, seen, area, rate), area) for rate in rates]
    for field, ways in zip(seen.fields, zip(*kinds, strict=True), strict=True):
        if not any(np.isfinite(job.cost).any() for job in ways):
            raise _too_slow(farm, seen, field.name)
    lines = tuple(rates.index(_rate(combine, long_day)) for combine in farm.combines)
    slots, money = _moves(seen.fields, settings.moves, seen.slot_h)
    return Problem(seen.slots, kinds, lines, slots, money)


def _too_slow(farm: Farm, seen: Outlook, what: str) -> TooLittleData:
    hours = f"the {seen.slots * seen.slot_h:,.0f} hours fit for harvest in {seen.days} days"
    return TooLittleData(
        f"{farm.id}/farm.toml: {shown(what)} cannot be cut and dried within {hours}; correct the dryer, the machines' rates or the areas"
    )


def _rate(combine: Combine, long_day: float) -> float:
    """Hectares in an hour of the time line, which runs as the machine with the longest day does."""
    return combine.rate_ha_h * combine.hours_per_day / long_day


def _slots_needed(farm: Farm, seen: Outlook, area: Floats, rate: float) -> Whole | list[Whole]:
    plain = np.maximum(np.round(area / rate / seen.slot_h), 1).astype(np.intp)
    if farm.dryer_kg_point_day is None:
        return plain
    # each machine has its share of the dryer, whose day is as long as the time line's
    hours_a_day = seen.slots * seen.slot_h / seen.days
    limit = farm.dryer_kg_point_day / len(farm.combines) / hours_a_day
    return [_slots_when_dried(seen, number, field, rate, limit) for number, field in enumerate(seen.fields)]


def _slots_when_dried(seen: Outlook, number: int, field: StandingField, rate: float, limit_kg_point_h: float) -> Whole:
    """Slots a field takes by its start, where the dryer may be slower than the machine."""
    moisture = seen.moisture_pct[number].T[np.arange(len(seen.year))[:, None], seen.day_of].mean(axis=0)
    market = field.crop.market_moisture_pct
    points = np.maximum(moisture - market, 0)
    kg_points_ha = wet_mass(field.yield_kg_ha, moisture, market) * points
    hourly = np.minimum(rate, limit_kg_point_h / np.maximum(kg_points_ha, 1e-9))
    done = np.concatenate([[0.0], np.cumsum(hourly * seen.slot_h)])
    end = np.searchsorted(done, done + field.area_ha * (1 - 1e-9), side="left")
    return np.asarray(np.maximum(end - np.arange(len(done)), 1), dtype=np.intp)


def _moves(fields: Sequence[StandingField], settings: MoveSettings, slot_h: float) -> tuple[Whole, Floats]:
    """Slots and money from each field to each other; without places, opening the next field alone."""
    distance = _distances_m(fields)
    hours = settings.setup + distance / settings.road_speed / 3600
    slots = np.round(hours / slot_h).astype(np.intp)
    np.fill_diagonal(slots, 0)
    return slots, np.asarray(distance * settings.cost)


def _distances_m(fields: Sequence[StandingField]) -> Floats:
    """As the crow flies [m]; 0 where a place is not known."""
    places = np.radians([field.place or (np.nan, np.nan) for field in fields])
    east = (places[:, None, 0] - places[None, :, 0]) * np.cos((places[:, None, 1] + places[None, :, 1]) / 2)
    north = places[:, None, 1] - places[None, :, 1]
    return np.asarray(np.nan_to_num(np.hypot(east, north) * EARTH_M))


def rules(seen: Outlook, problem: Problem) -> dict[str, list[int]]:
    """Orders that people go by: driest first, biggest first, and nearest first where places are known."""
    now = seen.moisture_pct[:, 0].mean(axis=1)
    driest = [int(field) for field in np.argsort(now, kind="stable")]
    area = np.array([field.area_ha for field in seen.fields])
    out = {"driest first": driest, "biggest first": [int(field) for field in np.argsort(-area, kind="stable")]}
    if all(field.place is not None for field in seen.fields) and problem.move_cost.any():
        out["nearest first"] = _nearest(problem, driest[0])
    return out


def _nearest(problem: Problem, first: int) -> list[int]:
    order, left = [first], set(range(problem.fields)) - {first}
    while left:
        order.append(min(sorted(left), key=lambda field: float(problem.move_cost[order[-1], field])))
        left.remove(order[-1])
    return order


def _told(seen: Outlook, problem: Problem, plan: Order, settings: RankSettings) -> list[dict[str, Any]]:
    """For each field, what the plan and the seasons say of it alone."""
    begun, lines = plan.start_of(problem.fields), plan.line_of(problem.fields)
    out = []
    for field in range(problem.fields):
        start = int(begun[field])
        end = int(problem.kinds[problem.lines[lines[field]]][field].end[start])
        first, done = seen.day_of[:, start], seen.day_of[:, end - 1]
        early, middle, late = (int(day) for day in np.quantile(first, [0.1, 0.5, 0.9], method="nearest"))
        out.append(
            {
                "cut_on": _date(seen, middle),
                "early_on": _date(seen, early),
                "late_on": _date(seen, late),
                "done_on": _date(seen, int(np.quantile(done, 0.5, method="nearest"))),
                "block": _block(middle, settings),
                "moisture_pct": estimate(seen.moisture_when(field, start, end)),
                **_of_waiting(seen, field),
            }
        )
    return out


def _of_waiting(seen: Outlook, field: int) -> dict[str, Any]:
    """What the field says whatever the plan."""
    net, grain = seen.net_usd_ha[field].astype(float), seen.grain_kg_ha[field].astype(float)
    week = min(WEEK, seen.days - 1)
    expected = net.mean(axis=1)
    parts = seen.parts_usd_ha[field]
    return {
        "best_on": _date(seen, int(np.argmax(expected))),
        "moisture_now_pct": estimate(seen.moisture_pct[field, 0].astype(float)),
        "wait_usd_ha_day": estimate(net[0] - net[1]),
        "wait_kg_ha_day": estimate(grain[0] - grain[1]),
        "wait_usd_ha_week": estimate(net[0] - net[week]),
        "wait_parts_usd_ha_week": dict(zip(PARTS, map(float, parts[week] - parts[0]), strict=True)),
        "curve_usd_ha": tuple(map(float, expected.max() - expected)),
    }


def _date(seen: Outlook, ahead: int) -> datetime.date:
    return seen.weather.on(seen.weather.today + ahead)


def _block(ahead: int, settings: RankSettings) -> Block:
    if ahead < settings.page.first_block:
        return "now"
    return "next" if ahead < settings.page.second_block else "later"


def _gain(costs: Costs, plan: Order, rule: str, other: Order) -> Gain:
    """The plan against a rule's order, which is given its best timetable for nothing."""
    saved = costs.of(other) - costs.of(plan)
    return Gain(rule, estimate(saved), float((saved <= 0).mean()))


def _lost_hours(farm: Farm, problem: Problem, plan: Order, line: int, slot_h: float) -> LostHours:
    """From the table of what is still to come, begun later."""
    rest = backward(problem, problem.lines[line], plan.lines[line])[0]
    combine = farm.combines[line]

    def later(hours: float) -> float:
        slots = min(round(hours / slot_h), problem.slots)
        known = rest[: slots + 1][np.isfinite(rest[: slots + 1])]
        return float(known[-1] - rest[0])

    # a single hour may fall into a day with room to spare: its worth is the mean over a day's
    day = combine.hours_per_day
    return LostHours(combine.name, later(day) / day, later(day), later(3 * day))


def _work_slots(problem: Problem, plan: Order) -> int:
    cut = sum(
        int(problem.kinds[kind][field].end[start] - start)
        for kind, order, begun in zip(problem.lines, plan.lines, plan.starts, strict=True)
        for field, start in zip(order, begun, strict=True)
    )
    return cut + sum(int(problem.move_slots[one, other]) for order in plan.lines for one, other in itertools.pairwise(order))


def _above_bound(problem: Problem, plan: Order, seconds: float) -> float:
    """How far the plan, its moves' money left out, is above what no order is below [USD]; NaN where nobody asked."""
    if not seconds:
        return math.nan
    moves = sum(float(problem.move_cost[one, other]) for order in plan.lines for one, other in itertools.pairwise(order))
    return max(plan.cost - moves - prove(problem, seconds * 3600).bound, 0.0)


def _dryer_binds(farm: Farm, seen: Outlook, problem: Problem, plan: Order) -> bool:
    """Whether a field of the plan takes longer than its machine alone would."""
    if farm.dryer_kg_point_day is None:
        return False
    long_day = max(combine.hours_per_day for combine in farm.combines)
    for line, (order, begun) in enumerate(zip(plan.lines, plan.starts, strict=True)):
        work = problem.kinds[problem.lines[line]]
        rate = _rate(farm.combines[line], long_day)
        for field, start in zip(order, begun, strict=True):
            alone = seen.fields[field].area_ha / rate / seen.slot_h
            if int(work[field].end[start] - start) > alone + 1:
                return True
    return False
