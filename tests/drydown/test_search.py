"""The search for an order, against every order and against proofs."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
from drydown.made_problems import made_problem

from lossmap.drydown.proof import prove
from lossmap.drydown.search import index_seed, priced, rule_order, search
from lossmap.drydown.timetable import Problem, forward, jobs
from outside import agrees


def cheapest(problem):
    """Of all orders."""
    return min(float(forward(problem, 0, order)[-1, -1]) for order in itertools.permutations(range(problem.fields)))


@pytest.mark.parametrize("rng_seed", range(8))
def test_six_fields_as_good_as_every_order(rng_seed):
    """With moves, against all 720 orders."""
    problem, _ = made_problem(6, 120, 0.5, rng_seed)
    agrees(f"order of 6 made fields, farm {rng_seed} [USD]", "all 720 orders", search(problem, 20, 1).cost, cheapest(problem), 1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("rng_seed", range(30))
def test_eight_fields_as_good_as_every_order(rng_seed):
    """With moves, against all 40,320 orders."""
    problem, _ = made_problem(8, 150, 0.5, rng_seed)
    assert search(problem, 40, 1).cost == pytest.approx(cheapest(problem), abs=1e-6)


@pytest.mark.parametrize("rng_seed", range(2))
def test_twenty_fields_as_good_as_the_proof(rng_seed):
    """Without moves, within 0.02 USD/ac of what HiGHS proves, and never below it."""
    problem, area = made_problem(20, 300, 0.5, rng_seed, moves=False)
    proof = prove(problem, 120)
    found = search(problem, 40, 1)
    assert proof.bound - 1e-6 * proof.bound <= found.cost
    gap = (found.cost - proof.bound) / area.sum()
    agrees(f"order of 20 made fields, farm {rng_seed}, above the bound [USD/ac]", "HiGHS (scipy.optimize.milp)", gap, 0, 0.02)


@pytest.mark.slow
@pytest.mark.parametrize("rng_seed", range(2))
def test_sixty_fields_near_the_proof(rng_seed):
    """Without moves, within 0.05 USD/ac of the bound HiGHS gives; best insertion alone within 0.25."""
    problem, area = made_problem(60, 447, 0.5, rng_seed, moves=False)
    proof = prove(problem, 300)
    assert (search(problem, 60, 1).cost - proof.bound) / area.sum() <= 0.05
    assert (search(problem, 0, 0).cost - proof.bound) / area.sum() <= 0.25


def test_better_than_rules_and_than_its_own_seed():
    """Twenty fields: far under cheapest-first and biggest-first, under the index it begins with."""
    problem, area = made_problem(20, 300, 0.5, 3)
    found = search(problem, 20, 1).cost
    assert found < priced(problem, index_seed(problem)).cost
    for fields in (np.argsort(-area), np.argsort([job.cost[0] for job in problem.kinds[0]])):
        assert found < 0.8 * rule_order(problem, list(fields)).cost


def test_several_machines_share_the_fields():
    """Three machines, thirty fields: each field once, cheaper than one machine with a third of the time each, starts in order."""
    problem, _ = made_problem(30, 200, 0.5, 4, lines=3)
    found = search(problem, 10, 1)
    assert sorted(itertools.chain(*found.lines)) == list(range(30))
    assert all(len(order) >= 5 for order in found.lines)
    assert sum(problem.kinds[0][field].cost[start] for field, start in enumerate(found.start_of(30))) <= found.cost
    times = found.start_of(30)[found.in_time()]
    assert (np.diff(times) >= 0).all()
    assert found.line_of(30)[found.lines[2][0]] == 2


def test_a_slow_machine_gets_less():
    """Of two machines, one at half the speed, the slow one takes the smaller share of the work."""
    rng = np.random.default_rng(5)
    cost = rng.uniform(0, 1, (16, 1)) * np.arange(100) ** 1.2
    needed = rng.integers(4, 10, 16)
    still = np.zeros((16, 16))
    two = Problem(100, [jobs(cost, needed, needed), jobs(cost, 2 * needed, needed)], (0, 1), still.astype(int), still)
    found = search(two, 5, 1)
    work = [needed[list(order)].sum() for order in found.lines]
    assert 0 < work[1] < work[0]


def test_one_field_and_same_seed():
    """One field has one order; the same seed gives the same plan."""
    one, _ = made_problem(1, 40, 0.3, 1)
    assert search(one, 5, 1).lines == ((0,),)
    problem, _ = made_problem(15, 200, 0.5, 7)
    first, again = (search(problem, 10, 3) for _ in range(2))
    assert first.lines == again.lines
    assert first.cost == again.cost


def test_scaling_money_keeps_the_order():
    """Prices twice as high, moves and all: the same order at twice the cost."""
    problem, _ = made_problem(12, 150, 0.5, 8)
    double = dataclasses.replace(
        problem, kinds=[[dataclasses.replace(job, cost=2 * job.cost) for job in problem.kinds[0]]], move_cost=2 * problem.move_cost
    )
    one, other = search(problem, 10, 1), search(double, 10, 1)
    assert one.lines == other.lines
    assert other.cost == pytest.approx(2 * one.cost)


def test_one_more_field_never_makes_it_cheaper():
    """The best order of twelve fields costs at least that of eleven of them."""
    problem, _ = made_problem(12, 150, 0.5, 9)
    fewer = dataclasses.replace(
        problem, kinds=[problem.kinds[0][:11]], move_slots=problem.move_slots[:11, :11], move_cost=problem.move_cost[:11, :11]
    )
    assert search(fewer, 30, 1).cost <= search(problem, 30, 1).cost + 1e-9
