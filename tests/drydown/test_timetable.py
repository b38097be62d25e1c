"""The tables of a timetable, against going through every start."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from drydown.made_problems import made_problem

from lossmap.drydown.timetable import Line, Problem, backward, forward, insertions, jobs, starts


def by_trying(problem, order):
    """Least cost of an order by every possible set of starts."""
    work = problem.kinds[0]
    best = np.inf
    for begun in itertools.product(range(problem.slots + 1), repeat=len(order)):
        free, cost = 0, 0.0
        for k, (field, start) in enumerate(zip(order, begun, strict=True)):
            move = problem.move_slots[order[k - 1], field] if k else 0
            if start < free + move:
                cost = np.inf
                break
            cost += work[field].cost[start] + (problem.move_cost[order[k - 1], field] if k else 0)
            free = work[field].end[start]
        best = min(best, cost)
    return best


@pytest.mark.parametrize("rng_seed", range(6))
def test_the_table_finds_the_best_starts(rng_seed):
    """Three fields on 14 slots with moves: as cheap as the best of all starts, waiting included."""
    problem, _ = made_problem(3, 14, 0.5, rng_seed)
    order = list(np.random.default_rng(rng_seed).permutation(3))
    best = by_trying(problem, order)
    assert forward(problem, 0, order)[-1, -1] == pytest.approx(best, abs=1e-6)
    assert backward(problem, 0, order)[0, 0] == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("rng_seed", range(6))
def test_starts_cost_what_the_table_says(rng_seed):
    """The starts read back follow one another with their moves and cost the table's least."""
    problem, _ = made_problem(12, 200, 0.5, rng_seed)
    order = list(np.random.default_rng(rng_seed).permutation(12))
    begun = starts(problem, 0, order)
    work = problem.kinds[0]
    cost = sum(work[field].cost[start] for field, start in zip(order, begun, strict=True))
    cost += sum(problem.move_cost[one, other] for one, other in itertools.pairwise(order))
    assert cost == pytest.approx(forward(problem, 0, order)[-1, -1], abs=1e-6)
    for k in range(1, 12):
        assert begun[k] >= work[order[k - 1]].end[begun[k - 1]] + problem.move_slots[order[k - 1], order[k]]


@pytest.mark.parametrize("rng_seed", range(6))
def test_an_insertion_costs_what_the_new_order_costs(rng_seed):
    """Every place for one more field, from both tables at once, equals the order worked out anew."""
    problem, _ = made_problem(9, 120, 0.5, rng_seed)
    order = list(np.random.default_rng(rng_seed).permutation(8))
    told = insertions(problem, Line(problem, 0, order), 8)
    anew = [forward(problem, 0, [*order[:k], 8, *order[k:]])[-1, -1] for k in range(9)]
    assert told == pytest.approx(anew, abs=1e-6)


def test_an_empty_line_takes_one():
    """The first field of a machine costs its own best start."""
    problem, _ = made_problem(1, 30, 0.3, 1)
    line = Line(problem, 0, [])
    assert line.cost == 0
    assert insertions(problem, line, 0) == pytest.approx([problem.kinds[0][0].cost.min()])


def test_a_job_that_lasts_longer_when_begun_early():
    """Wet grain waits for the dryer: how long a field takes hangs on its start, and ends are found back from it."""
    cost = np.array([[4.0, 3.0, 2.0, 1.0, 1.0, 1.0]])
    needed = [np.array([4, 3, 2, 1, 1, 1, 1])]
    job = jobs(cost, needed, np.array([2.0]))[0]
    assert job.cost[:4].tolist() == pytest.approx([2 * 2.5, 4.0, 3.0, 2.0])
    assert job.end[:4].tolist() == [4, 4, 4, 4]
    assert job.last.tolist() == [-1, -1, -1, -1, 3, 4, 5]
    problem = Problem(6, [[job]], (0,), np.zeros((1, 1), dtype=int), np.zeros((1, 1)))
    assert starts(problem, 0, [0]).tolist() == [3]


def test_what_does_not_fit_is_infinite():
    """A field longer than the time line cannot be cut in it."""
    job = jobs(np.ones((1, 5)), np.array([6]), np.ones(1))[0]
    assert np.isinf(job.cost).all()
    assert (job.last == -1).all()
