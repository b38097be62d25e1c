"""The whole ranking: what it says, and laws it keeps."""

from __future__ import annotations

import dataclasses
import math

import pytest
from drydown.made_farms import ON, changed, days, made, quick, ranked, record

from lossmap.base.farm import Reading
from lossmap.drydown.chances import Costs
from lossmap.drydown.outlook import outlook
from lossmap.drydown.plan import rank, rules
from lossmap.drydown.search import priced, rule_order, search
from lossmap.drydown.work import as_problem


def test_every_field_once_with_its_doubt():
    """Ranks run through, dates lie in their ranges and in order, waiting has an interval, curves touch nothing."""
    found = ranked()
    assert [of.rank for of in found.fields] == [1, 2, 3, 4, 5, 6]
    assert {of.field.name for of in found.fields} == {field.name for field in made().farm.fields}
    for of in found.fields:
        assert of.early_on <= of.cut_on <= of.late_on
        assert of.cut_on <= of.done_on
        assert of.wait_usd_ha_day.low <= of.wait_usd_ha_day.mean <= of.wait_usd_ha_day.high
        assert min(of.curve_usd_ha) == pytest.approx(0)
        assert sum(of.wait_parts_usd_ha_week.values()) == pytest.approx(of.wait_usd_ha_week.mean, abs=0.5)
    assert [of.cut_on for of in found.fields] == sorted(of.cut_on for of in found.fields)
    assert found.fields[-1].before is None
    assert sum(of.first_chance for of in found.fields) == pytest.approx(1)


def test_better_than_the_rules():
    """The plan beats driest, biggest and nearest first in the mean, each at its best timetable."""
    found = ranked(fields=12, rng_seed=3)
    assert {gain.rule for gain in found.gains} == {"driest first", "biggest first", "nearest first"}
    for gain in found.gains:
        assert gain.usd.mean > -1
        assert 0 <= gain.rule_as_good <= 1
    assert max(gain.usd.mean for gain in found.gains) > 1000


def test_the_mean_over_seasons_is_the_cost_by_slot():
    """For a plan run straight through, the mean cost of the seasons is the sum of the curves: the small problem is the large one."""
    of = made()
    seen = outlook(of.farm, record(of), ON, quick())
    problem = as_problem(of.farm, seen, quick())
    plan = search(problem, 0, 1)
    other = rule_order(problem, list(range(6)))
    costs = Costs(seen, problem)
    assert (costs.of(other) - costs.of(plan)).mean() == pytest.approx(other.cost - plan.cost, rel=1e-4, abs=0.5)


def test_an_hour_lost_costs_less_than_a_day():
    """Standing still costs, and longer costs more."""
    lost = ranked(fields=12, rng_seed=3).lost_hours[0]
    assert 0 <= lost.hour_usd <= lost.day_usd <= lost.three_days_usd


def test_same_seed_same_plan():
    """Nothing but the seed decides."""
    of = made()
    one, other = (rank(of.farm, record(of), ON, quick()) for _ in range(2))
    assert one == other


def test_money_twice_as_large_keeps_the_order():
    """Price, drying and moves twice as high: the same order, every cost twice."""
    of = made()
    money = {
        name: dataclasses.replace(each, price_usd_kg=2 * each.price_usd_kg, drying_usd_kg_point=2 * each.drying_usd_kg_point)
        for name, each in of.farm.money.items()
    }
    double = rank(dataclasses.replace(of.farm, money=money), record(of), ON, quick(moves={"cost": "12 USD/mile"}))
    single = ranked()
    assert [one.field.name for one in double.fields] == [one.field.name for one in single.fields]
    assert double.fields[0].wait_usd_ha_day.mean == pytest.approx(2 * single.fields[0].wait_usd_ha_day.mean, rel=1e-3)


def test_one_more_field_never_lowers_the_cost():
    """The best order of six fields costs no less than that of five of them."""
    of = made()
    seen = outlook(of.farm, record(of), ON, quick())
    problem = as_problem(of.farm, seen, quick())
    fewer = dataclasses.replace(
        problem,
        kinds=[list(kind)[:5] for kind in problem.kinds],
        move_slots=problem.move_slots[:5, :5],
        move_cost=problem.move_cost[:5, :5],
    )
    assert search(fewer, 10, 1).cost <= search(problem, 10, 1).cost + 1e-6


def test_several_combines():
    """Two machines share the fields; each field says its machine, each machine has its last."""
    found = ranked(fields=12, rng_seed=3, combines=2)
    assert {of.combine for of in found.fields} == {"combine 1", "combine 2"}
    assert sum(of.before is None for of in found.fields) == 2
    assert len(found.lost_hours) == 2
    assert found.fields[-1].cut_on <= ranked(fields=12, rng_seed=3).fields[-1].cut_on


def test_brittle_beans_and_weak_stalks_go_before_sound_ones():
    """Of two like fields the one with weak stalks goes first; so do beans about to shatter before wet corn."""
    of = made()
    corn = next(number for number, field in enumerate(of.farm.fields) if field.crop.name == "corn")
    like = dataclasses.replace(of.farm.fields[corn], readings=(Reading(ON, 20.0),), matured_on=days(-25), place=None)
    weak, sound = dataclasses.replace(like, name="weak", standability=3.0), dataclasses.replace(like, name="sound", standability=0.0)
    found = rank(dataclasses.replace(of.farm, fields=(sound, weak)), record(of), ON, quick())
    assert [one.field.name for one in found.fields] == ["weak", "sound"]
    assert found.fields[0].before.gain_usd.mean > 0


def test_one_field_is_a_plan():
    """One field: no pair, no gain over any rule, a day to cut it."""
    of = made()
    found = rank(dataclasses.replace(of.farm, fields=of.farm.fields[:1]), record(of), ON, quick())
    assert len(found.fields) == 1
    assert found.fields[0].before is None
    assert found.fields[0].first_chance == 1
    assert all(gain.usd.mean == pytest.approx(0, abs=1e-6) for gain in found.gains)


def test_a_proof_on_request():
    """Six fields: the plan is not far above what no order is below; without asking there is no number."""
    of = made()
    found = rank(of.farm, record(of), ON, quick(search={"rounds": 3, "slot": "1 h", "proof": "60 s"}))
    moves = 6 * 0.6 * found.lost_hours[0].day_usd
    assert 0 <= found.proof_usd <= moves + 500
    assert math.isnan(ranked().proof_usd)


def test_rules_are_what_they_say():
    """Driest first by today's moisture, biggest by area, nearest from the driest on."""
    of = made()
    seen = outlook(of.farm, record(of), ON, quick())
    problem = as_problem(of.farm, seen, quick())
    orders = rules(seen, problem)
    moisture = [of.farm.fields[field].readings[-1].moisture_pct for field in orders["driest first"]]
    assert moisture == sorted(moisture)
    area = [of.farm.fields[field].area_ha for field in orders["biggest first"]]
    assert area == sorted(area, reverse=True)
    near = orders["nearest first"]
    assert problem.move_cost[near[0], near[1]] == min(problem.move_cost[near[0], field] for field in near[1:])
    without = changed(of.farm, 0, place=None)
    assert "nearest first" not in rules(
        outlook(without, record(of), ON, quick()), as_problem(without, outlook(without, record(of), ON, quick()), quick())
    )
    assert priced(problem, [orders["driest first"]]).cost == rule_order(problem, orders["driest first"]).cost
