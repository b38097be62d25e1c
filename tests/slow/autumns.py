"""Planted autumns: a made farm whose moistures, losses and weather we know, cut by a rule or by a plan made anew at each field.

Whoever decides sees readings with their error, the past years, and the weather up to
today; what it costs is reckoned from the truth. Rules wait until a field is fit (beans
14.5 %, corn 21 %, all that may be cut late in the season) and are given the true moistures.
Driest-first, which needs no such patience, begins at 18 and 25 %: of ten pairs of limits tried at
half load these were its best, by 2.9 USD/ac; the other rules do worse by them.
"""

from __future__ import annotations

import dataclasses
import datetime
import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from lossmap.base.farm import Reading
from lossmap.base.rank_settings import RankSettings
from lossmap.base.reference import waiting
from lossmap.base.units import factor
from lossmap.drydown.chances import Costs, before
from lossmap.drydown.moisture import air, dried, values
from lossmap.drydown.money import worth
from lossmap.drydown.outlook import outlook
from lossmap.drydown.search import search
from lossmap.drydown.timetable import Problem, starts
from lossmap.drydown.waiting import OwnLoss, lost, stalk_factor, wettings
from lossmap.drydown.weather import fit_shares, seasons
from lossmap.drydown.work import as_problem
from lossmap.synthetic_farm import FarmPlan, MadeFarm, made_farm

DAYS = 100
FIT = {"soybean": 14.5, "corn": 21.0}
EARLY = {"soybean": 18.0, "corn": 25.0}
#: Day from which whatever may be cut is fit.
LATE = 40
SLOT_H = 0.5


@dataclass(frozen=True)
class Truth:
    """What the season will be: ``[field, day]`` from the first day on, hours fit for harvest a day, moves in hours and money."""

    moisture_pct: np.ndarray
    net_usd_ha: np.ndarray
    hours: np.ndarray
    move_h: np.ndarray
    move_usd: np.ndarray


def settings(draws: int = 40, rounds: int = 0) -> RankSettings:
    """Of the planner: few seasons and no shaking, since it plans a dozen times an autumn."""
    usual = RankSettings()
    return usual.model_copy(
        update={
            "doubt": usual.doubt.model_copy(update={"seasons": draws}),
            "search": usual.search.model_copy(update={"rounds": rounds, "slot": SLOT_H}),
        }
    )


def truth_of(made: MadeFarm, on: datetime.date) -> Truth:
    """The season as it will be, from the farm's own factors."""
    farm, choices = made.farm, settings()
    record = pd.concat([made.past, made.season])
    # this season as the only year: all of it is "known"
    whole = choices.years.model_copy(update={"forecast": float(DAYS)})
    known = seasons(record, on, on, whole, DAYS)
    assert known.forecast_days == DAYS
    one = dataclasses.replace(
        known, years=(on.year,), temperature_c=known.temperature_c[:1], humidity_pct=known.humidity_pct[:1], rain_mm=known.rain_mm[:1]
    )
    moisture, net = [], []
    for field, true in zip(farm.fields, made.truth, strict=True):
        figures = values(waiting(field.crop.name), {})
        of = air(field.crop.name, one, figures)
        path = dried(np.array([true.moisture_pct]), np.array([true.rate]), np.zeros(1, dtype=int), of, 0, DAYS - 1)
        age = (on - field.matured_on).days + np.arange(DAYS)[:, None]
        own = OwnLoss(stalk_factor(field.standability), before=true.before, machine=true.machine)
        waste = lost(path, age, wettings(path), figures, own)
        market = field.crop.market_moisture_pct
        moisture.append(path[:, 0])
        net.append(worth(field.yield_kg_ha, path, waste, farm.money[field.crop.name], market, figures["cut_below"]).net[:, 0])
    hours = fit_shares(one.rain_mm, on, choices.hours)[0] * farm.long_day_h
    places = np.array([field.place for field in farm.fields])
    east = np.radians(places[:, None, 0] - places[None, :, 0]) * np.cos(np.radians(places[:, 1].mean()))
    distance = 6_371_000.0 * np.hypot(east, np.radians(places[:, None, 1] - places[None, :, 1]))
    move_h = choices.moves.setup + distance / choices.moves.road_speed / 3600
    return Truth(np.array(moisture), np.array(net), hours, move_h, distance * choices.moves.cost)


#: Which field next, and on which day it may be begun: of (farm, truth, day, standing fields, last field, rng).
Chooser = Callable[[MadeFarm, Truth, int, list[int], int | None, np.random.Generator], tuple[int, int] | None]


def cut(made: MadeFarm, truth: Truth, choose: Chooser, rng: np.random.Generator) -> tuple[float, dict[int, int]]:
    """An autumn with one combine: what was not brought in [USD, moves included], and the day each field was begun."""
    ends = np.cumsum(truth.hours)
    rate = made.farm.combines[0].rate_ha_h
    standing, last, now, cost, begun = list(range(len(made.farm.fields))), None, 0.0, 0.0, {}
    while standing:
        day = int(np.searchsorted(ends, now, side="right"))
        if day >= DAYS - 1:
            choice = (standing[0], day)
        else:
            found = choose(made, truth, day, standing, last, rng)
            if found is None or found[1] > day:
                # nothing to do today: the rest of its hours is gone
                now = float(ends[day])
                continue
            choice = found
        field = choice[0]
        if last is not None:
            now += truth.move_h[last, field]
            cost += truth.move_usd[last, field]
        length = made.farm.fields[field].area_ha / rate
        begun[field] = min(int(np.searchsorted(ends, now, side="right")), DAYS - 1)
        slots = now + (np.arange(max(1, round(length / SLOT_H))) + 0.5) * SLOT_H
        days = np.minimum(np.searchsorted(ends, slots, side="right"), DAYS - 1)
        cost -= made.farm.fields[field].area_ha * float(truth.net_usd_ha[field, days].mean())
        now, last = now + length, field
        standing.remove(field)
    return cost, begun


def by_rule(key: Callable[[MadeFarm, Truth, int, int, int | None], float], limits: dict[str, float] = FIT) -> Chooser:
    """The fit field with the least key; where none is fit, nothing today."""

    def choose(made: MadeFarm, truth: Truth, day: int, standing: list[int], last: int | None, rng: np.random.Generator):
        fit = [
            field
            for field in standing
            if truth.moisture_pct[field, day] <= (limits[made.farm.fields[field].crop.name] if day < LATE else 30.0)
        ]
        return (min(fit, key=lambda field: (key(made, truth, day, field, last), field)), day) if fit else None

    return choose


RULES: dict[str, Chooser] = {
    "driest first": by_rule(lambda made, truth, day, field, last: float(truth.moisture_pct[field, day]), EARLY),
    "biggest first": by_rule(lambda made, truth, day, field, last: -made.farm.fields[field].area_ha),
    "nearest first": by_rule(lambda made, truth, day, field, last: float(truth.move_h[last, field]) if last is not None else 0.0),
    "first come (first mature)": by_rule(lambda made, truth, day, field, last: float(made.farm.fields[field].matured_on.toordinal())),
}


class Planner:
    """The plan made anew whenever the combine is free, with a fresh reading of every standing field."""

    def __init__(self, on: datetime.date, error_pct: float, renew: bool = True) -> None:
        self.on, self.error_pct, self.renew = on, error_pct, renew
        self.readings: dict[int, list[Reading]] = {}
        self.order: list[int] = []

    def __call__(self, made: MadeFarm, truth: Truth, day: int, standing: list[int], last: int | None, rng: np.random.Generator):
        """The plan's first field and the day it means to begin it."""
        if not self.renew and self.order:
            while self.order[0] not in standing:
                self.order.pop(0)
            return self.order[0], day
        today = self.on + datetime.timedelta(days=day)
        fields = []
        for field in standing:
            if not any(reading.on == today for reading in self.readings.get(field, [])):
                said = float(truth.moisture_pct[field, day] + self.error_pct * rng.standard_normal())
                self.readings.setdefault(field, []).append(Reading(today, max(said, 5.5)))
            fields.append(dataclasses.replace(made.farm.fields[field], readings=tuple(self.readings[field][-2:])))
        farm = dataclasses.replace(made.farm, fields=tuple(fields))
        seen = outlook(farm, self.record(made, today), today, settings())
        problem = as_problem(farm, seen, settings())
        plan = search(problem, 0, 1)
        start = int(plan.starts[0][0])
        self.order = [standing[field] for field in plan.lines[0]]
        begin = int(np.quantile(seen.day_of[:, start], 0.5, method="nearest")) if start > 0 else 0
        return self.order[0], day + begin

    def record(self, made: MadeFarm, today: datetime.date) -> pd.DataFrame:
        """Weather up to yesterday."""
        return pd.concat([made.past, made.season[made.season["day_on"] < pd.Timestamp(today)]])


def autumn(plan: FarmPlan, rng_seed: int) -> tuple[dict[str, float], float]:
    """One autumn: USD an acre not brought in by each way of choosing, above the plan made anew; and the acres."""
    made = made_farm(plan, rng_seed)
    truth = truth_of(made, plan.on)
    acres = sum(field.area_ha for field in made.farm.fields) * factor("ha", "ac")
    planned, _ = cut(made, truth, Planner(plan.on, plan.reading_error_pct), np.random.default_rng(rng_seed))
    out = {name: (cut(made, truth, rule, np.random.default_rng(rng_seed))[0] - planned) / acres for name, rule in RULES.items()}
    return out, acres


def kept_plan(plan: FarmPlan, rng_seed: int) -> tuple[list[bool], list[tuple[float, bool]]]:
    """A plan of the first day that is kept: whether each date range held, and each pair's chance beside what came true."""
    made = made_farm(plan, rng_seed)
    truth = truth_of(made, plan.on)
    choices = settings(draws=150)
    seen = outlook(made.farm, made.past, plan.on, choices)
    problem = as_problem(made.farm, seen, choices)
    order = search(problem, 0, 1)
    true_day = np.minimum(np.searchsorted(np.cumsum(truth.hours), (np.arange(problem.slots) + 0.5) * SLOT_H), DAYS - 1)
    held = []
    for start in order.starts[0]:
        early, late = (int(day) for day in np.quantile(seen.day_of[:, start], [0.1, 0.9], method="nearest"))
        held.append(early <= true_day[start] <= late)
    pairs = []
    as_planned = _true_cost(made, truth, problem, list(order.lines[0]), order.starts[0], true_day)
    for k, (field, told) in enumerate(before(Costs(seen, problem), order, choices.page).items()):
        fields = list(order.lines[0])
        assert fields[k] == field
        fields[k : k + 2] = fields[k : k + 2][::-1]
        swapped = _true_cost(made, truth, problem, fields, starts(problem, 0, fields), true_day)
        pairs.append((told.chance, swapped > as_planned))
    return held, pairs


def _true_cost(made: MadeFarm, truth: Truth, problem: Problem, order: list[int], begun: np.ndarray, day: np.ndarray) -> float:
    cost = sum(float(problem.move_cost[one, other]) for one, other in itertools.pairwise(order))
    for field, start in zip(order, begun, strict=True):
        days = day[start : problem.kinds[0][field].end[start]]
        cost -= made.farm.fields[field].area_ha * float(truth.net_usd_ha[field, days].mean())
    return cost
