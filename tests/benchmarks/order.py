"""How long an order of harvest takes: curves of twenty fields, one farm, sixty fields, five hundred with 25 machines."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pandas as pd

from lossmap.base.rank_settings import RankSettings
from lossmap.base.settings import build
from lossmap.drydown.outlook import outlook
from lossmap.drydown.plan import rules
from lossmap.drydown.search import index_seed, priced, rule_order, search
from lossmap.drydown.work import as_problem
from lossmap.synthetic_farm import FarmPlan, MadeFarm, made_farm

Row = tuple[str, str, str]


def measure() -> list[Row]:
    """A row each: what, CPU seconds, and the lines of the design beside it."""
    twenty, sixty, many = (made_farm(FarmPlan(fields=fields, combines=lines), 1) for fields, lines in ((20, 1), (60, 2), (500, 25)))
    settings, coarse = RankSettings(), build(RankSettings, {"doubt": {"seasons": 60}, "search": {"slot": "1 h"}}, "benchmark")
    rows = [("moisture and money of 20 fields, 200 seasons, 75 days", f"{_cpu(lambda: _seen(twenty, settings))[0]:.2f} s", "0.5 s")]
    for what, made in (("20 fields, 1 machine", twenty), ("60 fields, 2 machines", sixty)):
        problem = as_problem(made.farm, _seen(made, settings), settings)
        seconds, _ = _cpu(lambda problem=problem: search(problem, settings.search.rounds, 1))
        rows.append(
            (f"order of {what}, {problem.slots} slots of half an hour, {settings.search.rounds} shakes", f"{seconds:.1f} s", "2 s; 20 s")
        )
    seen = _seen(many, coarse)
    problem = as_problem(many.farm, seen, coarse)
    seed = index_seed(problem)
    seconds, found = _cpu(lambda: search(problem, 0, 0))
    of_seed, of_rule = priced(problem, seed).cost, rule_order(problem, rules(seen, problem)["driest first"]).cost
    against = f"{100 * found.cost / of_seed:.0f} % of the index seed, {100 * found.cost / of_rule:.0f} % of driest-first"
    return [
        *rows,
        (f"500 fields, 25 machines, {problem.slots} slots of an hour, best insertion", f"{seconds:.0f} s; {against}", "60 s; 92 %, 55 %"),
    ]


def _seen(made: MadeFarm, settings: RankSettings) -> Any:
    on = FarmPlan().on
    return outlook(made.farm, pd.concat([made.past, made.season[made.season["day_on"] < pd.Timestamp(on)]]), on, settings)


def _cpu(work: Callable[[], Any]) -> tuple[float, Any]:
    began = time.process_time()
    found = work()
    return time.process_time() - began, found
