"""The order of least expected cost: an index to begin with, best insertion, and shaking; no clock in it, so a seed gives one plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.drydown.timetable import Line, Problem, Whole, forward, insertions, starts

__all__ = ["Order", "index_seed", "priced", "rule_order", "search"]

#: The index looks this share of the time line ahead (measured best of 5, 15 and 30 % on made farms).
LOOK_AHEAD = 0.15
#: Fields taken out and put back at a shake.
SHAKEN = 4
#: Gains below this share of the cost are rounding.
TIE = 1e-9
#: Beyond so many machines a field is tried on those with the likeliest places only.
MOST_LINES = 40


@dataclass(frozen=True)
class Order:
    """Which machine cuts which field when.

    Attributes
    ----------
    lines : tuple of tuple of int
        Fields of each machine in order.
    starts : tuple of array of int
        Slot at which each of them is begun.
    cost : float
    """

    lines: tuple[tuple[int, ...], ...]
    starts: tuple[Whole, ...]
    cost: float

    def start_of(self, fields: int) -> Whole:
        """By field, ``[field]``."""
        out = np.empty(fields, dtype=np.intp)
        for order, begun in zip(self.lines, self.starts, strict=True):
            out[list(order)] = begun
        return out

    def line_of(self, fields: int) -> Whole:
        """Machine by field, ``[field]``."""
        out = np.empty(fields, dtype=np.intp)
        for number, order in enumerate(self.lines):
            out[list(order)] = number
        return out

    def in_time(self) -> list[int]:
        """All fields by their start."""
        pairs = [
            (int(start), number, field)
            for number, (order, begun) in enumerate(zip(self.lines, self.starts, strict=True))
            for start, field in zip(begun, order, strict=True)
        ]
        return [field for _, _, field in sorted(pairs)]


def search(problem: Problem, rounds: int, rng_seed: int) -> Order:
    """A good order: index seed, best insertion until nothing gains, then `rounds` shakes of a few fields each (none: insertion alone).

    Within 0.02 USD/ac of the proven best at 20 fields, 0.05 at 60 (``tests/drydown/test_search.py``).
    """
    rng = np.random.default_rng(rng_seed)
    lines = _lines(problem, index_seed(problem))
    _descend(problem, lines, rng)
    for _ in range(rounds if problem.fields > 1 else 0):
        lines = _shaken(problem, lines, rng)
    return priced(problem, [line.order for line in lines])


def priced(problem: Problem, orders: Sequence[Sequence[int]]) -> Order:
    """An order as it is, at its best timetable."""
    cost = sum(float(forward(problem, kind, order)[-1, -1]) for kind, order in zip(problem.lines, orders, strict=True))
    begun = tuple(starts(problem, kind, order) for kind, order in zip(problem.lines, orders, strict=True))
    return Order(tuple(tuple(map(int, order)) for order in orders), begun, cost)


def rule_order(problem: Problem, fields: Sequence[int]) -> Order:
    """The fields in the order of a rule, each given to the machine that is free first."""
    free = np.zeros(len(problem.lines), dtype=np.intp)
    orders: list[list[int]] = [[] for _ in problem.lines]
    for field in fields:
        line = int(np.argmin(free))
        if orders[line]:
            free[line] += problem.move_slots[orders[line][-1], field]
        orders[line].append(int(field))
        free[line] += _usual_slots(problem, problem.lines[line], field)
    return priced(problem, orders)


def index_seed(problem: Problem) -> list[list[int]]:
    """Whoever is free takes the field that loses most for each of its hours if left for a while."""
    ahead = max(1, int(LOOK_AHEAD * problem.slots))
    rates = [_loss_rates(problem, kind, ahead) for kind in range(len(problem.kinds))]
    free = np.zeros(len(problem.lines), dtype=np.intp)
    orders: list[list[int]] = [[] for _ in problem.lines]
    left = np.ones(problem.fields, dtype=bool)
    while left.any():
        line = int(np.argmin(free))
        kind = problem.lines[line]
        slot = min(int(free[line]), problem.slots)
        field = int(np.argmax(np.where(left, rates[kind][:, slot], -np.inf)))
        move = problem.move_slots[orders[line][-1], field] if orders[line] else 0
        orders[line].append(field)
        left[field] = False
        free[line] += move + _usual_slots(problem, kind, field)
    return orders


def _loss_rates(problem: Problem, kind: int, ahead: int) -> npt.NDArray[np.float64]:
    """What a field loses by being left for `ahead` slots, for each slot of work, ``[field, slot]``."""
    out = np.empty((problem.fields, problem.slots + 1))
    for field, job in enumerate(problem.kinds[kind]):
        known = np.isfinite(job.cost)
        cost = np.where(known, job.cost, job.cost[known][-1])
        later = cost[np.minimum(np.arange(len(cost)) + ahead, len(cost) - 1)]
        out[field] = (later - cost) / _usual_slots(problem, kind, field)
    return out


def _usual_slots(problem: Problem, kind: int, field: int) -> int:
    return max(1, int(problem.kinds[kind][field].end[0]))


def _lines(problem: Problem, orders: Sequence[Sequence[int]]) -> list[Line]:
    return [Line(problem, kind, order) for kind, order in zip(problem.lines, orders, strict=True)]


def _descend(problem: Problem, lines: list[Line], rng: np.random.Generator) -> None:
    """Move single fields to their best places until a whole round gains nothing."""
    gained = True
    while gained:
        gained = False
        for field in rng.permutation(problem.fields):
            gained |= _moved(problem, lines, int(field))


def _moved(problem: Problem, lines: list[Line], field: int) -> bool:
    """Put one field where it costs least; whether that gained anything."""
    at = next(number for number, line in enumerate(lines) if field in line.order)
    before, old = sum(line.cost for line in lines), lines[at]
    lines[at] = old.without(field)
    _insert(problem, lines, field)
    if sum(line.cost for line in lines) < before - TIE * abs(before):
        return True
    for number, line in enumerate(lines):
        if field in line.order and number != at:
            lines[number] = line.without(field)
    lines[at] = old
    return False


def _insert(problem: Problem, lines: list[Line], field: int) -> None:
    """Put a field at the best place of all machines, the first of equals."""
    best, where = np.inf, (0, 0)
    for number in _worth_trying(lines):
        costs = insertions(problem, lines[number], field) - lines[number].cost
        k = int(np.argmin(costs))
        if costs[k] < best - 1e-12:
            best, where = float(costs[k]), (number, k)
    number, k = where
    lines[number] = lines[number].with_field(field, k)


def _worth_trying(lines: list[Line]) -> Sequence[int]:
    if len(lines) <= MOST_LINES:
        return range(len(lines))
    # those that are done soonest have the most room
    ends = np.array([int(np.argmax(np.isfinite(line.done[-1]))) for line in lines])
    return [int(number) for number in np.argsort(ends, kind="stable")[:MOST_LINES]]


def _shaken(problem: Problem, lines: list[Line], rng: np.random.Generator) -> list[Line]:
    """Take a few neighbours out and put them back one by one; the better of before and after."""
    before = sum(line.cost for line in lines)
    trial = list(lines)
    count = min(SHAKEN, problem.fields)
    busy = [number for number, line in enumerate(trial) if line.order]
    number = int(rng.choice(busy))
    order = trial[number].order
    first = int(rng.integers(max(1, len(order) - count + 1)))
    out = [*order[first : first + count]]
    # and as many from anywhere: neighbours alone would fall back into their places
    others = [field for line in trial for field in line.order if field not in out]
    out += [int(field) for field in rng.permutation(others)[:count]]
    for at, line in enumerate(trial):
        kept = [field for field in line.order if field not in out]
        if len(kept) < len(line.order):
            trial[at] = Line(problem, line.kind, kept)
    for field in rng.permutation(out):
        _insert(problem, trial, int(field))
    for field in rng.permutation(out):
        _moved(problem, trial, int(field))
    return trial if sum(line.cost for line in trial) < before - TIE * abs(before) else lines
