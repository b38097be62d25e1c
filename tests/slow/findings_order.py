"""What planning the order of harvest is worth in planted autumns, and whether its dates and chances hold."""

from __future__ import annotations

import numpy as np
from slow.autumns import RULES, autumn, kept_plan
from slow.fields import Row, over_fields

from lossmap.synthetic_farm import FarmPlan

FIRST = 7000
#: Share of the hours fit for harvest that the work takes, by the combine's rate on 15 fields of 90 ac.
LOADS = {"a third": 9.5, "half": 6.0, "two thirds": 4.6}


def rows(autumns: int = 40) -> list[Row]:
    """Plan made anew against four rules at three loads and with a wrong model of loss; then dates and chances."""
    found = []
    for load, rate in LOADS.items():
        found += _against_rules(f"work is {load} of the fit hours", FarmPlan(rate_ac_h=rate), autumns, 3.0 if load == "half" else None)
    wrong = FarmPlan(rate_ac_h=6.0, loss_sd=0.7, rate_sd=0.25)
    found += _against_rules("half, true losses and rates twice as far from the planner's", wrong, autumns, 2.0)
    return [*found, *_kept(max(2 * autumns, 40))]


def _against_rules(what: str, plan: FarmPlan, autumns: int, line: float | None) -> list[Row]:
    outcome = [rules for rules, _ in over_fields(autumn, [(plan, FIRST + number) for number in range(autumns)])]
    out = []
    for rule in RULES:
        above = np.array([each[rule] for each in outcome])
        error = above.std(ddof=1) / np.sqrt(autumns)
        measured = f"**{above.mean():+.1f}** +- {error:.1f} USD/ac; as good in {100 * (above <= 0).mean():.0f} %"
        is_held = rule == "driest first" and line is not None
        wanted = f">= {line:g} and > 2 se" if is_held else "> 0" if line is not None else ""
        holds = (
            bool(above.mean() >= (line or 0) and above.mean() > 2 * error)
            if is_held
            else bool(above.mean() > 0)
            if line is not None
            else None
        )
        out.append(Row(f"{rule} over the plan made anew, {what}, {autumns} autumns", measured, wanted, holds))
    return out


def _kept(autumns: int) -> list[Row]:
    """Dates and chances of a plan of the first day that is kept."""
    outcome = over_fields(kept_plan, [(FarmPlan(rate_ac_h=LOADS["half"]), FIRST + 500 + number) for number in range(autumns)])
    held = np.array([inside for dates, _ in outcome for inside in dates])
    out = [
        Row(
            f"date ranges of 8 in 10 that held, plan kept, {autumns} autumns, {len(held)} fields",
            f"**{100 * held.mean():.0f} %**",
            "70 to 90 %",
            bool(0.70 <= held.mean() <= 0.90),
        )
    ]
    pairs = np.array([pair for _, told in outcome for pair in told], dtype=float)
    for name, low, high in (("below 0.6", 0.0, 0.6), ("0.6 to 0.8", 0.6, 0.8), ("0.8 and more", 0.8, 1.01)):
        here = pairs[(pairs[:, 0] >= low) & (pairs[:, 0] < high)]
        said, came = here.mean(axis=0)
        what = f"chance of one field before the next, stated {name}, {len(here)} pairs: stated, came true"
        out.append(Row(what, f"**{said:.2f}**, {came:.2f}", "within 0.1", bool(abs(said - came) <= 0.1)))
    return out
