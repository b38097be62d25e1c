"""When each field of a given order is cut: exact, with moves, deliberate waiting and machines of their own speed.

Time runs in slots of hours fit for harvest. The cost of cutting a field from a slot on is
known beforehand, so for an order the best starts follow from one table: ``E[t]``, the
least cost of having done the fields so far by `t`. The same from the end gives ``B[t]``,
the least cost of the fields still to come if work on them may begin at `t`. Both
together give the cost of every place where one more field could go.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats

__all__ = ["Job", "Line", "Problem", "backward", "forward", "insertions", "jobs", "starts"]

Whole = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Job:
    """What one field costs and takes on one kind of machine, ``[slot]``.

    Attributes
    ----------
    cost : array
        Of starting at each slot; infinite where it would not be done in time.
    end : array of int
        First slot after it.
    last : array of int
        Last start that is done by each slot; -1 where none.
    """

    cost: Floats
    end: Whole
    last: Whole


@dataclass(frozen=True)
class Problem:
    """Fields to put in order.

    Attributes
    ----------
    slots : int
        Length of the time line; jobs end at `slots` at the latest.
    kinds : sequence of sequence of Job
        ``[kind of machine][field]``.
    lines : sequence of int
        Kind of each machine.
    move_slots : array of int, ``[field, field]``
    move_cost : array, ``[field, field]``
    """

    slots: int
    kinds: Sequence[Sequence[Job]]
    lines: tuple[int, ...]
    move_slots: Whole
    move_cost: Floats

    @property
    def fields(self) -> int:
        """How many."""
        return len(self.move_slots)


class Line:
    """The fields of one machine in order, with the tables from both ends."""

    def __init__(self, problem: Problem, kind: int, order: Sequence[int]) -> None:
        self.problem, self.kind, self.order = problem, kind, list(order)
        self.done = forward(problem, kind, self.order)
        self.rest = backward(problem, kind, self.order)

    @property
    def cost(self) -> float:
        """Of the best timetable of this order."""
        return float(self.done[-1, -1])

    def with_field(self, field: int, k: int) -> Line:
        """The same with `field` put in before its k-th; tables up to there and from there on are kept."""
        return self._changed([*self.order[:k], field, *self.order[k:]], k, len(self.order) - k)

    def without(self, field: int) -> Line:
        """The same without `field`."""
        k = self.order.index(field)
        return self._changed([*self.order[:k], *self.order[k + 1 :]], k, len(self.order) - k - 1)

    def _changed(self, order: list[int], same: int, same_behind: int) -> Line:
        line = object.__new__(Line)
        line.problem, line.kind, line.order = self.problem, self.kind, order
        line.done = forward(self.problem, self.kind, order, self.done[: same + 1])
        line.rest = backward(self.problem, self.kind, order, self.rest[len(self.order) - same_behind :])
        return line


def jobs(cost: Floats, slots_needed: Whole | Sequence[Whole], weight: Floats) -> list[Job]:
    """The jobs of fields whose cost a slot is known.

    Parameters
    ----------
    cost : array, ``[field, slot]``
        For each part of a field cut in a slot.
    slots_needed : array of int, ``[field]``, or a sequence of arrays ``[slot]``
        Slots a field takes; where that hangs on its start, one array a field.
    weight : array, ``[field]``
        What a whole field's mean cost is multiplied by (its area).
    """
    return [_job(cost[field], slots_needed[field], float(weight[field])) for field in range(len(cost))]


def _job(cost: Floats, needed: Whole | np.intp, weight: float) -> Job:
    slots = len(cost)
    start = np.arange(slots + 1)
    end = start + needed
    fits = end <= slots
    summed = np.concatenate([[0.0], np.cumsum(cost)])
    whole = np.where(fits, (summed[np.minimum(end, slots)] - summed[start]) / (end - start), np.inf) * weight
    # a later start never ends sooner, so the last start that is done by a slot is found in order
    last = np.searchsorted(np.maximum.accumulate(np.where(fits, end, slots + 1)), start, side="right") - 1
    return Job(whole, np.minimum(end, slots), last)


def forward(problem: Problem, kind: int, order: Sequence[int], known: Floats | None = None) -> Floats:
    """Least cost of having cut the first k fields by each slot, ``[k, slot]``, k from 0 to all; `known` are its first rows."""
    table = np.zeros((len(order) + 1, problem.slots + 1))
    first = 0
    if known is not None:
        table[: len(known)], first = known, len(known) - 1
    for k in range(first, len(order)):
        table[k + 1] = _done(_start_costs(problem, kind, order, k, table[k]), problem.kinds[kind][order[k]])
    return table


def _start_costs(problem: Problem, kind: int, order: Sequence[int], k: int, before: Floats) -> Floats:
    """Cost of the first k fields and of the next, by the start of the next."""
    cost = problem.kinds[kind][order[k]].cost
    if k == 0:
        return cost
    move, money = problem.move_slots[order[k - 1], order[k]], problem.move_cost[order[k - 1], order[k]]
    out = np.empty(len(cost))
    out[:move] = np.inf
    np.add(before[: len(cost) - move], cost[move:], out=out[move:])
    out += money
    return out


def _done(by_start: Floats, job: Job) -> Floats:
    # one more place behind the end, which the -1 of "no start" finds
    least = np.empty(len(by_start) + 1)
    np.minimum.accumulate(by_start, out=least[:-1])
    least[-1] = np.inf
    return least[job.last]


def backward(problem: Problem, kind: int, order: Sequence[int], known: Floats | None = None) -> Floats:
    """Least cost of the fields from the k-th on, if work on them may begin at each slot, ``[k, slot]``; `known` are its last rows."""
    table = np.zeros((len(order) + 1, problem.slots + 1))
    last = len(order)
    if known is not None:
        last = len(order) + 1 - len(known)
        table[last:] = known
    for k in range(last - 1, -1, -1):
        job = problem.kinds[kind][order[k]]
        by_start = job.cost
        if k + 1 < len(order):
            move, money = problem.move_slots[order[k], order[k + 1]], problem.move_cost[order[k], order[k + 1]]
            beyond = np.append(table[k + 1], np.inf)
            by_start = by_start + beyond.take(job.end + move, mode="clip")
            by_start += money
        np.minimum.accumulate(by_start[::-1], out=table[k, ::-1])
    return table


def insertions(problem: Problem, line: Line, field: int) -> Floats:
    """Cost of the line with `field` put in before its k-th, ``[k]``, k from 0 to all."""
    job = problem.kinds[line.kind][field]
    order, slots = line.order, problem.slots
    out = np.empty(len(order) + 1)
    for k in range(len(order) + 1):
        into = problem.move_slots[order[k - 1], field] if k else 0
        money = problem.move_cost[order[k - 1], field] if k else 0.0
        by_start = line.done[k, : slots + 1 - into] + job.cost[into:]
        if k < len(order):
            away = problem.move_slots[field, order[k]]
            money += problem.move_cost[field, order[k]]
            # what cannot end before the move is over costs more than anything: it need not be looked at
            reach = int(np.searchsorted(job.end + away, slots, side="right"))
            if reach <= into:
                out[k] = np.inf
                continue
            by_start = by_start[: reach - into] + line.rest[k][job.end[into:reach] + away]
        out[k] = by_start.min() + money
    return out


def starts(problem: Problem, kind: int, order: Sequence[int]) -> Whole:
    """The best start of each field of an order, the earliest of equals, ``[k]``."""
    table = forward(problem, kind, order)
    out = np.empty(len(order), dtype=np.intp)
    by = problem.slots
    for k in range(len(order) - 1, -1, -1):
        costs = _start_costs(problem, kind, order, k, table[k])
        out[k] = int(np.argmin(costs[: problem.kinds[kind][order[k]].last[by] + 1]))
        by = int(out[k] - problem.move_slots[order[k - 1], order[k]]) if k else 0
    return out
