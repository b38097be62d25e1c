"""Fields that stand to an order of harvest: the whole story of a ranking."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from lossmap.base.farm import Combine, Farm
from lossmap.base.grid import Floats
from lossmap.base.rank_settings import PageSettings, RankSettings
from lossmap.base.ranking import Block, Gain, LostHours, RankedField, Ranking
from lossmap.drydown.chances import Costs, Firsts, before, estimate, first_fields, reading_worths
from lossmap.drydown.money import PARTS
from lossmap.drydown.outlook import Outlook, outlook
from lossmap.drydown.proof import prove
from lossmap.drydown.search import Order, rule_order, search
from lossmap.drydown.timetable import Problem, backward
from lossmap.drydown.work import as_problem, dryer_binds, too_slow, work_slots

__all__ = ["rank", "rules"]

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
        raise too_slow(farm, seen, "all fields together")
    costs = Costs(seen, problem)
    firsts = first_fields(costs, plan)
    worths = reading_worths(seen, firsts, settings.doubt.moisture_error_pct)
    return Ranking(
        farm=farm,
        settings=settings,
        on=on,
        fields=_ranked(farm, costs, plan, firsts, worths, settings.page),
        gains=tuple(_gain(costs, plan, rule, rule_order(problem, order)) for rule, order in rules(seen, problem).items()),
        lost_hours=tuple(_lost_hours(combine, problem, plan, line, seen.slot_h) for line, combine in enumerate(farm.combines)),
        work_h=work_slots(problem, plan) * seen.slot_h,
        season_h=seen.slots * seen.slot_h,
        years=seen.weather.years,
        forecast_days=seen.weather.forecast_days,
        measure=_most_telling(seen, worths),
        proof_usd=_above_bound(problem, plan, settings.search.proof),
        dryer_binds=dryer_binds(farm, seen, problem, plan),
        notes=seen.weather.notes,
        inputs=dict(inputs or {}),
    )


def _ranked(farm: Farm, costs: Costs, plan: Order, firsts: list[Firsts], worths: Floats, page: PageSettings) -> tuple[RankedField, ...]:
    """The fields in the order in which they are begun, with all that is said of each."""
    seen, problem = costs.seen, costs.problem
    pairs = before(costs, plan, page)
    chances = {field: chance for choice in firsts for field, chance in choice.chances().items()}
    begun, lines = plan.start_of(problem.fields), plan.line_of(problem.fields)
    out = []
    for rank, field in enumerate(plan.in_time(), 1):
        standing, line, start = seen.fields[field], int(lines[field]), int(begun[field])
        end = int(problem.kinds[problem.lines[line]][field].end[start])
        out.append(
            RankedField(
                field=standing,
                rank=rank,
                combine=farm.combines[line].name,
                moisture_pct=estimate(seen.moisture_when(field, start, end)),
                first_chance=chances.get(field, math.nan),
                before=pairs.get(field),
                reading_age_days=(seen.weather.on(seen.weather.today) - standing.readings[-1].on).days,
                reading_worth_usd=float(worths[field]),
                **_when_cut(seen, start, end, page),
                **_of_waiting(seen, field),
            )
        )
    return tuple(out)


def _when_cut(seen: Outlook, start: int, end: int, page: PageSettings) -> dict[str, Any]:
    """Days on which a field is begun and done that is cut from slot to slot, and its block of the page."""
    early, middle, late = (int(day) for day in np.quantile(seen.day_of[:, start], [0.1, 0.5, 0.9], method="nearest"))
    done = int(np.quantile(seen.day_of[:, end - 1], 0.5, method="nearest"))
    return {
        "cut_on": _date(seen, middle),
        "early_on": _date(seen, early),
        "late_on": _date(seen, late),
        "done_on": _date(seen, done),
        "block": _block(middle, page),
    }


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


def _block(ahead: int, page: PageSettings) -> Block:
    if ahead < page.first_block:
        return "now"
    return "next" if ahead < page.second_block else "later"


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
    """From a field to the one that is cheapest to go to, and so on."""
    order, left = [first], set(range(problem.fields)) - {first}
    while left:
        order.append(min(sorted(left), key=lambda field: float(problem.move_cost[order[-1], field])))
        left.remove(order[-1])
    return order


def _gain(costs: Costs, plan: Order, rule: str, other: Order) -> Gain:
    """The plan against a rule's order, which is given its best timetable for nothing."""
    saved = costs.of(other) - costs.of(plan)
    return Gain(rule, estimate(saved), float((saved <= 0).mean()))


def _lost_hours(combine: Combine, problem: Problem, plan: Order, line: int, slot_h: float) -> LostHours:
    """From the table of what is still to come, begun later."""
    rest = backward(problem, problem.lines[line], plan.lines[line])[0]

    def later(hours: float) -> float:
        slots = min(round(hours / slot_h), problem.slots)
        known = rest[: slots + 1][np.isfinite(rest[: slots + 1])]
        return float(known[-1] - rest[0])

    # a single hour may fall into a day with room to spare: its worth is the mean over a day's
    day = combine.hours_per_day
    return LostHours(combine.name, later(day) / day, later(day), later(3 * day))


def _most_telling(seen: Outlook, worths: Floats) -> str | None:
    """The field whose new reading is worth most, if one is worth the way."""
    most = int(np.argmax(worths))
    return seen.fields[most].name if worths[most] >= LEAST_WORTH_USD else None


def _above_bound(problem: Problem, plan: Order, hours: float) -> float:
    """How far the plan, its moves' money left out, is above what no order is below [USD]; NaN where nobody asked."""
    if not hours:
        return math.nan
    moves = sum(float(problem.move_cost[one, other]) for order in plan.lines for one, other in itertools.pairwise(order))
    return max(plan.cost - moves - prove(problem, hours * 3600).bound, 0.0)
