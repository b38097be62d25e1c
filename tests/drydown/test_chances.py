"""How sure an order is."""

from __future__ import annotations

import numpy as np
import pytest
from drydown.made_farms import ON, made, quick, record

from lossmap.base.rank_settings import PageSettings
from lossmap.drydown.chances import Costs, Firsts, before, estimate, first_fields, reading_worths
from lossmap.drydown.outlook import outlook
from lossmap.drydown.search import search
from lossmap.drydown.work import as_problem


@pytest.fixture(scope="module")
def planned():
    """Outlook, costs and plan of eight fields."""
    of = made(fields=8, rng_seed=2)
    seen = outlook(of.farm, record(of), ON, quick())
    problem = as_problem(of.farm, seen, quick())
    return seen, Costs(seen, problem), search(problem, 5, 1)


def test_an_estimate_is_mean_and_middle_nine_tenths():
    """Of 0 to 100: 50 (5 to 95)."""
    found = estimate(np.arange(101.0))
    assert (found.mean, found.low, found.high) == (50, 5, 95)


def test_pairs_are_labelled_by_chance_and_gain(planned):
    """Every neighbour has a chance in 0 to 1 and a gain; firm ones are rarely wrong; a small gain is a toss-up whatever its chance."""
    _, costs, plan = planned
    pairs = before(costs, plan, PageSettings())
    assert len(pairs) == 7
    for pair in pairs.values():
        assert 0 <= pair.chance <= 1
        assert pair.gain_usd.low <= pair.gain_usd.mean <= pair.gain_usd.high
        assert pair.label != "firm" or pair.chance >= 0.8
        assert pair.label != "likely" or pair.chance >= 0.6
    # the plan is at its best by the mean: no exchange of neighbours gains
    assert all(pair.gain_usd.mean > -1 for pair in pairs.values())
    strict = before(costs, plan, PageSettings(tossup_usd_ac=50.0))
    assert {pair.label for pair in strict.values()} == {"toss-up"}


def test_chances_to_be_first_add_up(planned):
    """Each machine's tried fields share all seasons; the plan's own first field has the most in this farm."""
    _, costs, plan = planned
    (firsts,) = first_fields(costs, plan)
    assert firsts.fields[0] == plan.lines[0][0]
    assert sum(firsts.chances().values()) == pytest.approx(1)
    assert firsts.cost.mean(axis=1)[0] <= firsts.cost.mean(axis=1).min() + 1


def test_a_reading_is_worth_what_it_decides():
    """Two choices whose difference hangs on one field's moisture: a reading of that field is worth money, of another none."""
    rng = np.random.default_rng(1)
    draws = 400
    moisture = 20 + rng.standard_normal((2, 1, draws))
    difference = 100 * (moisture[0, 0] - moisture[0, 0].mean())
    choices = Firsts([0, 1], np.stack([np.zeros(draws), difference]))

    class Seen:
        moisture_pct = moisture

    worth = reading_worths(Seen(), [choices], error_pct=0.1)
    # the mean of the better of 0 and a normal of sd 100 is 39.9
    assert worth[0] == pytest.approx(100 / np.sqrt(2 * np.pi), rel=0.1)
    assert worth[1] < 8
    blurred = reading_worths(Seen(), [choices], error_pct=3.0)
    assert blurred[0] < worth[0] / 2


def test_no_doubt_no_worth(planned):
    """Where one choice is always best, no reading is worth anything."""
    seen, _, _ = planned
    sure = Firsts([0, 1], np.stack([np.zeros(40), np.full(40, 500.0)]))
    assert reading_worths(seen, [sure], 1.0) == pytest.approx(np.zeros(8))


def test_seasons_are_costed_once(planned):
    """The cost of a plan is the sum over fields and moves, draw by draw."""
    _, costs, plan = planned
    fields = [costs.of_field(0, field, int(start)) for field, start in zip(plan.lines[0], plan.starts[0], strict=True)]
    moves = sum(costs.problem.move_cost[one, other] for one, other in zip(plan.lines[0], plan.lines[0][1:], strict=False))
    assert costs.of(plan) == pytest.approx(np.sum(fields, axis=0) + moves)
    assert costs.of(plan).shape == (40,)
