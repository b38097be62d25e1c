"""The work there is: fields as jobs on machines, the moves between them, a dryer that may hold them up."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from lossmap.base.errors import TooLittleData, shown
from lossmap.base.farm import Farm, StandingField
from lossmap.base.grid import Floats
from lossmap.base.rank_settings import MoveSettings, RankSettings
from lossmap.drydown.money import wet_mass
from lossmap.drydown.outlook import Outlook
from lossmap.drydown.search import Order
from lossmap.drydown.timetable import Problem, Whole, jobs

__all__ = ["as_problem", "dryer_binds", "too_slow", "work_slots"]

EARTH_M = 6_371_000.0


def as_problem(farm: Farm, seen: Outlook, settings: RankSettings) -> Problem:
    """The fields as jobs on each machine, with the moves between them.

    Raises
    ------
    TooLittleData
        A field cannot be cut and dried within the hours there are.
    """
    cost = seen.cost_usd_ha()
    area = np.array([field.area_ha for field in seen.fields])
    paces = sorted({farm.pace_ha_h(combine) for combine in farm.combines})
    kinds = [jobs(cost, _slots_needed(farm, seen, area, pace), area) for pace in paces]
    for field, ways in zip(seen.fields, zip(*kinds, strict=True), strict=True):
        if not any(np.isfinite(job.cost).any() for job in ways):
            raise too_slow(farm, seen, field.name)
    lines = tuple(paces.index(farm.pace_ha_h(combine)) for combine in farm.combines)
    slots, money = _moves(seen.fields, settings.moves, seen.slot_h)
    return Problem(seen.slots, kinds, lines, slots, money)


def _slots_needed(farm: Farm, seen: Outlook, area: Floats, pace_ha_h: float) -> Whole | list[Whole]:
    """Slots each field takes; with a dryer that may be slower than the machine, one array a field by its start."""
    plain = np.maximum(np.round(area / pace_ha_h / seen.slot_h), 1).astype(np.intp)
    if farm.dryer_kg_point_day is None:
        return plain
    # each machine has its share of the dryer, whose day is as long as the time line's
    hours_a_day = seen.slots * seen.slot_h / seen.days
    limit = farm.dryer_kg_point_day / len(farm.combines) / hours_a_day
    return [_slots_when_dried(seen, number, field, pace_ha_h, limit) for number, field in enumerate(seen.fields)]


def _slots_when_dried(seen: Outlook, number: int, field: StandingField, pace_ha_h: float, limit_kg_point_h: float) -> Whole:
    """Slots a field takes by its start, where the dryer may be slower than the machine."""
    moisture = seen.moisture_pct[number].T[np.arange(len(seen.year))[:, None], seen.day_of].mean(axis=0)
    market = field.crop.market_moisture_pct
    points = np.maximum(moisture - market, 0)
    kg_points_ha = wet_mass(field.yield_kg_ha, moisture, market) * points
    hourly = np.minimum(pace_ha_h, limit_kg_point_h / np.maximum(kg_points_ha, 1e-9))
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


def too_slow(farm: Farm, seen: Outlook, what: str) -> TooLittleData:
    """That `what` cannot be done within the hours there are."""
    hours = f"the {seen.slots * seen.slot_h:,.0f} hours fit for harvest in {seen.days} days"
    return TooLittleData(
        f"{farm.id}/farm.toml: {shown(what)} cannot be cut and dried within {hours}; correct the dryer, the machines' rates or the areas"
    )


def work_slots(problem: Problem, plan: Order) -> int:
    """Slots of cutting and moving, over all machines."""
    cut = sum(
        int(problem.kinds[kind][field].end[start] - start)
        for kind, order, begun in zip(problem.lines, plan.lines, plan.starts, strict=True)
        for field, start in zip(order, begun, strict=True)
    )
    return cut + sum(int(problem.move_slots[one, other]) for order in plan.lines for one, other in itertools.pairwise(order))


def dryer_binds(farm: Farm, seen: Outlook, problem: Problem, plan: Order) -> bool:
    """Whether a field of the plan takes longer than its machine alone would."""
    if farm.dryer_kg_point_day is None:
        return False
    for line, (order, begun) in enumerate(zip(plan.lines, plan.starts, strict=True)):
        work = problem.kinds[problem.lines[line]]
        pace_ha_h = farm.pace_ha_h(farm.combines[line])
        for field, start in zip(order, begun, strict=True):
            alone = seen.fields[field].area_ha / pace_ha_h / seen.slot_h
            if int(work[field].end[start] - start) > alone + 1:
                return True
    return False
