"""How sure an order is: over the seasons drawn, what an exchange costs, which field is best to begin with, what a reading would tell."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from lossmap.base.estimates import Estimate, normal_points
from lossmap.base.grid import Floats
from lossmap.base.rank_settings import PageSettings
from lossmap.base.ranking import Before, Label
from lossmap.base.units import factor
from lossmap.drydown.outlook import Outlook
from lossmap.drydown.search import Order
from lossmap.drydown.timetable import Problem, Whole, starts

__all__ = ["Costs", "Firsts", "before", "estimate", "first_fields", "reading_worths"]

#: Fields of one machine that are tried at its front.
TRIED = 10
#: What a reading may say, in standard deviations: even steps of its chance (a quadrature would stumble over the kink of the best choice).
_SAID = normal_points(100)


class Costs:
    """What a timetable costs in each season drawn [USD]; each field's season costs by start are worked out once."""

    def __init__(self, seen: Outlook, problem: Problem) -> None:
        self.seen, self.problem = seen, problem
        self._known: dict[tuple[int, int, int], Floats] = {}

    def of_field(self, kind: int, field: int, start: int) -> Floats:
        """Of one field begun in a slot: what it does not bring, ``[draw]``."""
        key = (kind, field, start)
        if key not in self._known:
            end = int(self.problem.kinds[kind][field].end[start])
            self._known[key] = -self.seen.fields[field].area_ha * self.seen.net_when(field, start, end)
        return self._known[key]

    def of_line(self, kind: int, order: list[int], begun: Whole) -> Floats:
        """Of one machine's fields and moves, ``[draw]``."""
        fields = [self.of_field(kind, field, int(start)) for field, start in zip(order, begun, strict=True)]
        moves = sum(float(self.problem.move_cost[one, other]) for one, other in itertools.pairwise(order))
        return np.asarray(np.sum(fields, axis=0) + moves) if fields else np.zeros(len(self.seen.year))

    def of(self, plan: Order) -> Floats:
        """Of all machines, ``[draw]``."""
        lines = zip(self.problem.lines, plan.lines, plan.starts, strict=True)
        return np.asarray(np.sum([self.of_line(kind, list(order), begun) for kind, order, begun in lines], axis=0))


@dataclass(frozen=True)
class Firsts:
    """Fields tried at the front of one machine, and what each choice costs, ``[choice, draw]``; the plan's own is the first."""

    fields: list[int]
    cost: Floats

    def chances(self) -> dict[int, float]:
        """By field: share of seasons in which none of the others is better to begin with."""
        best = np.argmin(self.cost, axis=0)
        return {field: float((best == row).mean()) for row, field in enumerate(self.fields)}


def estimate(values: Floats) -> Estimate:
    """Mean and middle 90 % of draws."""
    low, high = np.quantile(values, [0.05, 0.95])
    return Estimate(float(values.mean()), float(low), float(high))


def before(costs: Costs, plan: Order, settings: PageSettings) -> dict[int, Before]:
    """By field: it before the next of its machine, against the two exchanged and all else in the same order."""
    out = {}
    for kind, order, begun in zip(costs.problem.lines, plan.lines, plan.starts, strict=True):
        fields = list(order)
        as_planned = costs.of_line(kind, fields, begun)
        for k in range(len(fields) - 1):
            swapped = [*fields[:k], fields[k + 1], fields[k], *fields[k + 2 :]]
            gain = costs.of_line(kind, swapped, starts(costs.problem, kind, swapped)) - as_planned
            pair_ac = sum(costs.seen.fields[field].area_ha for field in fields[k : k + 2]) * factor("ha", "ac")
            chance = float((gain > 0).mean())
            label = _label(chance, float(gain.mean()) / pair_ac, settings)
            out[fields[k]] = Before(costs.seen.fields[fields[k + 1]].name, chance, estimate(gain), label)
    return out


def _label(chance: float, gain_usd_ac: float, settings: PageSettings) -> Label:
    if chance < settings.likely or gain_usd_ac < settings.tossup_usd_ac:
        return "toss-up"
    return "firm" if chance >= settings.firm else "likely"


def first_fields(costs: Costs, plan: Order) -> list[Firsts]:
    """For each machine that has work: its first fields tried at the front, the rest moving up."""
    out = []
    for kind, order, begun in zip(costs.problem.lines, plan.lines, plan.starts, strict=True):
        fields = list(order)
        tried = fields[:TRIED]
        rows = [costs.of_line(kind, fields, begun)] if fields else []
        for field in tried[1:]:
            moved = [field, *(other for other in fields if other != field)]
            rows.append(costs.of_line(kind, moved, starts(costs.problem, kind, moved)))
        if fields:
            out.append(Firsts(tried, np.stack(rows)))
    return out


def reading_worths(seen: Outlook, firsts: list[Firsts], error_pct: float) -> Floats:
    """What a reading taken today would save by a better choice of the first field, in the mean [USD], ``[field]``.

    A field's moisture today is known up to the spread of its draws; a reading with
    `error_pct` narrows that. How much each choice costs against the plan's goes straight
    with that moisture, as far as the draws show; the mean over what the reading may say of
    the best choice then is what it is worth.
    """
    now = seen.moisture_pct[:, 0].astype(float)
    sd = now.std(axis=1)
    scores = (now - now.mean(axis=1, keepdims=True)) / np.maximum(sd, 1e-9)[:, None]
    told = np.sqrt(sd**2 / (sd**2 + error_pct**2))
    out = np.zeros(len(now))
    for choice in firsts:
        saved = choice.cost[0] - choice.cost
        mean = saved.mean(axis=1)
        slope = saved @ scores.T / scores.shape[1]
        # what is saved by each choice, for each thing each field's reading may say: [choice, field, knot]
        then = mean[:, None, None] + (slope * told)[:, :, None] * _SAID
        out += then.max(axis=0).mean(axis=-1) - max(float(mean.max()), 0.0)
    return np.asarray(np.maximum(out, 0.0))
