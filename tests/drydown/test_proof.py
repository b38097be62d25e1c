"""The proof, against every order, and what it does not take."""

from __future__ import annotations

import dataclasses
import itertools
import re

import pytest
from drydown.made_problems import made_problem

from lossmap.base.errors import TooLittleData
from lossmap.drydown.proof import prove
from lossmap.drydown.timetable import forward


@pytest.mark.parametrize("rng_seed", range(3))
def test_the_proof_is_the_least_of_all_orders(rng_seed):
    """Five fields without moves: bound, cost and the best of 120 orders are one."""
    problem, _ = made_problem(5, 80, 0.5, rng_seed, moves=False)
    best = min(float(forward(problem, 0, order)[-1, -1]) for order in itertools.permutations(range(5)))
    found = prove(problem, 60)
    assert found.cost == pytest.approx(best, rel=1e-6)
    assert found.bound == pytest.approx(best, rel=1e-6)


def test_two_machines_cost_no_more():
    """A second machine can only help."""
    one, _ = made_problem(6, 80, 0.5, 1, moves=False)
    two = dataclasses.replace(one, lines=(0, 0))
    assert prove(two, 60).cost <= prove(one, 60).cost + 1e-9


def test_moves_keep_the_bound():
    """With moves, no order is below the bound without them."""
    problem, _ = made_problem(5, 80, 0.5, 2)
    best = min(float(forward(problem, 0, order)[-1, -1]) for order in itertools.permutations(range(5)))
    assert prove(problem, 60).bound <= best + 1e-9


def test_what_it_does_not_take():
    """Unlike machines and too many fields are refused, with what to do."""
    problem, _ = made_problem(4, 40, 0.5, 1)
    unlike = dataclasses.replace(problem, kinds=[problem.kinds[0], problem.kinds[0]], lines=(0, 1))
    message = "a proof needs machines of one rate and at most 60 fields (4 here); set search.proof to 0 s"
    with pytest.raises(TooLittleData, match=re.escape(message)):
        prove(unlike, 1)
    many, _ = made_problem(61, 400, 0.5, 1)
    with pytest.raises(TooLittleData, match=re.escape("at most 60 fields (61 here)")):
        prove(many, 1)
