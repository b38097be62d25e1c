"""Made fields to put in order: a cost that falls to a best day and rises after it, places on a map."""

from __future__ import annotations

import numpy as np

from lossmap.drydown.timetable import Problem, jobs


def made_problem(fields, slots, load, rng_seed, *, moves=True, lines=1):
    """A problem and the area of its fields; work fills `load` of the time line."""
    rng = np.random.default_rng(rng_seed)
    time = np.arange(slots)
    best = rng.uniform(0, 0.6, fields) * slots
    fall, rise = (rng.uniform(low, high, fields) * 100 / slots for low, high in ((0.2, 2), (0.05, 3)))
    cost = np.maximum(best[:, None] - time, 0) * fall[:, None] + np.maximum(time - best[:, None], 0) ** 1.3 * rise[:, None]
    needed = rng.uniform(0.4, 1.6, fields)
    needed = np.maximum(1, np.round(needed / needed.sum() * load * slots * lines)).astype(int)
    places = rng.uniform(0, 8, (fields, 2))
    miles = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    move_slots = np.round(miles / 14 + 0.6).astype(int) if moves else np.zeros((fields, fields), dtype=int)
    move_cost = 6 * miles if moves else np.zeros((fields, fields))
    area = needed * 6.0
    return Problem(slots, [jobs(cost, needed, area)], (0,) * lines, move_slots, move_cost), area
