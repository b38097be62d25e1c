"""How far an order is from the best of all, by a mixed-integer program (HiGHS in scipy); moves are left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.optimize
import scipy.sparse

from lossmap.base.errors import TooLittleData
from lossmap.drydown.timetable import Problem

__all__ = ["MOST_FIELDS", "Proof", "prove"]

#: Beyond, the program is too large to end in minutes.
MOST_FIELDS = 60


@dataclass(frozen=True)
class Proof:
    """What the program found: no order costs less than `bound`; one that costs `cost` exists (infinite if none was found)."""

    bound: float
    cost: float


def prove(problem: Problem, seconds: float) -> Proof:
    """The least cost of any order if going from field to field took no time and no money.

    One unknown a field and start, one row a field (it is cut once) and a slot (no more
    fields than machines are being cut). Moves only add cost, so `bound` also holds with
    them.

    Parameters
    ----------
    problem : Problem
        All machines of one kind.
    seconds : float
        After which the program stops with the bound it has.

    Raises
    ------
    TooLittleData
        Machines differ, or there are more than `MOST_FIELDS` fields.
    """
    if len(set(problem.lines)) > 1 or problem.fields > MOST_FIELDS:
        raise TooLittleData(
            f"a proof needs machines of one rate and at most {MOST_FIELDS} fields ({problem.fields} here); set search.proof to 0 s"
        )
    work = problem.kinds[problem.lines[0]]
    cost, end = np.stack([job.cost for job in work]), np.stack([job.end for job in work])
    field, start = np.nonzero(np.isfinite(cost))
    unknowns = np.arange(len(field))
    once = scipy.sparse.csc_array((np.ones(len(field)), (field, unknowns)), shape=(problem.fields, len(field)))
    busy_slots = [np.arange(first, behind) for first, behind in zip(start, end[field, start], strict=True)]
    slot, unknown = np.concatenate(busy_slots), np.repeat(unknowns, [len(slots) for slots in busy_slots])
    busy = scipy.sparse.csc_array((np.ones(len(slot)), (slot, unknown)), shape=(problem.slots + 1, len(field)))
    found = scipy.optimize.milp(
        cost[field, start],
        integrality=np.ones(len(field)),
        bounds=scipy.optimize.Bounds(0, 1),
        constraints=[scipy.optimize.LinearConstraint(once, 1, 1), scipy.optimize.LinearConstraint(busy, 0, len(problem.lines))],
        options={"time_limit": seconds, "mip_rel_gap": 1e-7},
    )
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else -np.inf
    return Proof(float(bound), float(found.fun) if found.x is not None else np.inf)
