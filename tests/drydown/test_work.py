"""The work there is: how long fields take on each machine, and what it takes to go from one to another."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from drydown.made_farms import ON, changed, made, quick, ranked, record

from lossmap.base.errors import TooLittleData
from lossmap.drydown.outlook import outlook
from lossmap.drydown.plan import rank
from lossmap.drydown.search import rule_order
from lossmap.drydown.work import as_problem, work_slots


def problem_of(farm, **more):
    """The farm's fields as jobs."""
    return as_problem(farm, outlook(farm, record(made()), ON, quick(**more)), quick(**more))


def test_a_machine_of_half_the_pace_takes_twice_as_long():
    """Each rate is a kind of its own, machines of one rate share it; a short day makes a machine slower."""
    farm = made().farm
    (combine,) = farm.combines
    slow = dataclasses.replace(combine, name="slow", hours_per_day=combine.hours_per_day / 2)
    problem = problem_of(dataclasses.replace(farm, combines=(combine, slow, combine)))
    assert [len(kind) for kind in problem.kinds] == [6, 6]
    assert problem.lines == (1, 0, 1)
    slots = np.array([[job.end[0] for job in kind] for kind in problem.kinds])
    assert (abs(slots[0] - 2 * slots[1]) <= 1).all()
    assert slots[1].tolist() == pytest.approx([max(1, round(field.area_ha / combine.rate_ha_h)) for field in farm.fields], abs=1)


def test_a_move_is_the_way_and_the_setting_up():
    """Places a tenth of a degree of longitude apart: 8.2 km at 42.4 degrees; without a place only the setting up is left."""
    farm = changed(changed(made().farm, 0, place=(-93.4, 42.4)), 1, place=(-93.3, 42.4))
    problem = problem_of(farm, moves={"cost": "1 USD/km"})
    assert problem.move_cost[0, 1] == pytest.approx(8.21, abs=0.01)
    assert (problem.move_cost == problem.move_cost.T).all()
    assert problem.move_slots[0, 0] == 0
    nowhere = problem_of(changed(farm, 0, place=None), moves={"cost": "1 USD/km", "setup": "3 h"})
    assert (nowhere.move_cost[0] == 0).all()
    assert (nowhere.move_slots[0, 1:] == 3).all()


def test_a_dryer_that_is_slow_is_said_and_takes_longer():
    """With a small dryer wet corn takes more slots, and the plan says that it binds."""
    farm = made().farm
    limited = dataclasses.replace(farm, dryer_kg_point_day=8_000 * 25.4)
    free, bound = problem_of(farm), problem_of(limited)
    wet = int(np.argmax([field.readings[-1].moisture_pct for field in farm.fields]))
    assert bound.kinds[0][wet].end[0] > free.kinds[0][wet].end[0]
    assert rank(limited, record(made()), ON, quick()).dryer_binds
    assert not ranked().dryer_binds


def test_a_dryer_that_is_never_done_is_refused():
    """A field that the dryer cannot take within the season is named, with what to correct."""
    with pytest.raises(TooLittleData) as refusal:
        problem_of(dataclasses.replace(made().farm, dryer_kg_point_day=100.0))
    told = str(refusal.value)
    assert any(told.startswith(f"made-farm/farm.toml: {field.name} cannot be cut and dried within the ") for field in made().farm.fields)
    assert told.endswith(" days; correct the dryer, the machines' rates or the areas")


def test_work_is_cutting_and_moving():
    """Slots of every field and of every way between them, whatever the order."""
    problem = problem_of(made().farm, moves={"setup": "2 h", "cost": "0 USD/mile"})
    plan = rule_order(problem, list(range(6)))
    cutting = sum(job.end[start] - start for job, start in zip(problem.kinds[0], plan.start_of(6), strict=True))
    ways = sum(problem.move_slots[field, field + 1] for field in range(5))
    assert ways >= 10
    assert work_slots(problem, plan) == cutting + ways
