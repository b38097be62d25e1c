"""ranking.html: which field first, for reading on a phone in the field and for the wall of the shop.

One file without scripts. Field names are text and only ever go in as values of a template
that escapes; the drawings are made of numbers alone.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import Any

import markupsafe

from lossmap.base import reference
from lossmap.base.ranking import RankedField, Ranking
from lossmap.report.ranking.words import (
    BLIND,
    blocks,
    cautions,
    gain_lines,
    headline,
    hour_lines,
    measure_line,
    pair_line,
    why,
    words_of,
)
from lossmap.report.run_file import version
from lossmap.report.templates import asset, filled, policy
from lossmap.report.words import NOT_KNOWN, count_of, day_of, plain, short_day

__all__ = ["ranking_page"]

_BLOCKS = {"now": "Now", "next": "Next", "later": "Later"}
#: Drawings of what waiting costs, at most: a page of hundreds is not read.
MOST_CURVES = 24
#: Rows of the timeline and the table that are shown at once; the rest can be opened.
FIRST_ROWS = 40
_WIDE, _HIGH, _PAD = 240.0, 84.0, 6.0


def ranking_page(ranking: Ranking, changed: Sequence[str] = ()) -> str:
    """The content of ranking.html: same plan, same bytes.

    Parameters
    ----------
    ranking : Ranking
    changed : sequence of str
        What is different from the last plan, in words; nothing where there was none.
    """
    last = max(of.late_on for of in ranking.fields)
    days = max((max(last, ranking.fields[0].done_on) - ranking.on).days + 2, 14)
    area = sum(of.field.area_ha for of in ranking.fields)
    words = words_of(ranking.fields[0], ranking)
    rows = [_row(of, ranking, days) for of in ranking.fields]
    return filled(
        "ranking.html.j2",
        policy=policy(),
        styles=markupsafe.Markup(asset("page.css") + asset("report.css") + asset("ranking.css")),
        title=ranking.farm.name,
        day=day_of(ranking.on),
        subtitle=", ".join(
            (f"{count_of(len(ranking.fields), 'field')} to cut", words.area.text(area), count_of(len(ranking.farm.combines), "combine"))
        ),
        headline=headline(ranking),
        first_chance=_first_chance(ranking),
        measure=measure_line(ranking),
        changed=changed,
        ticks=_ticks(ranking.on, days),
        blocks=[(_BLOCKS[block], [rows[of.rank - 1] for of in fields]) for block, fields in blocks(ranking)],
        several=len(ranking.farm.combines) > 1,
        rows=rows,
        curves=[_curve(of, ranking) for of in ranking.fields[:MOST_CURVES]],
        more_curves=max(len(ranking.fields) - MOST_CURVES, 0),
        gains=gain_lines(ranking),
        hours=hour_lines(ranking),
        work=_work(ranking),
        cautions=cautions(ranking),
        safety=(*reference.cautions("fire"), reference.cautions("adjust")[-1]),
        sources=_sources(ranking),
        years=f"{ranking.years[0]} to {ranking.years[-1]}",
        forecast=count_of(ranking.forecast_days, "day") if ranking.forecast_days else "",
        inputs=list(ranking.inputs.items()),
        version=version(),
    )


def _first_chance(ranking: Ranking) -> str:
    first = ranking.fields[0]
    if math.isnan(first.first_chance):
        return ""
    told = f"In {plain(100 * first.first_chance, 0)} of 100 seasons that may come it is the best field to begin with"
    same = [of for of in ranking.fields if of.combine == first.combine and math.isfinite(of.first_chance)]
    other = max(same, key=lambda of: of.first_chance)
    if other.first_chance <= first.first_chance:
        return f"{told}."
    # the order goes by the mean of money, not by how often
    return f"{told}, {other.field.name} in {plain(100 * other.first_chance, 0)}; but over all seasons beginning here costs least."


def _row(of: RankedField, ranking: Ranking, days: int) -> dict[str, Any]:
    """One field for timeline and table."""
    words = words_of(of, ranking)
    is_blind = of.reading_age_days > BLIND
    early, late, begun, done = ((on - ranking.on).days for on in (of.early_on, of.late_on, of.cut_on, of.done_on))
    return {
        "rank": of.rank,
        "name": of.field.name,
        "combine": of.combine,
        "crop": of.field.crop.name,
        "area": words.area.text(of.field.area_ha),
        "when": "measure first" if is_blind else short_day(of.cut_on),
        "span": "" if is_blind or early == late else f"{short_day(of.early_on)} to {short_day(of.late_on)}",
        "blind": is_blind,
        "bar": (_share(begun, days), max(_share(done + 1, days) - _share(begun, days), 1.0)),
        "line": (_share(early, days), max(_share(late + 1, days) - _share(early, days), 1.0)),
        "moisture_now": words.moisture.number(of.moisture_now_pct.mean),
        "moisture": words.moisture.text(of.moisture_pct.mean),
        "moisture_ends": words.moisture.ends(of.moisture_pct),
        "usd_day": words.waiting.number(of.wait_usd_ha_day.mean),
        "usd_day_ends": words.waiting.ends(of.wait_usd_ha_day),
        "grain_day": words.loss.number(of.wait_kg_ha_day.mean),
        "grain_day_ends": words.loss.ends(of.wait_kg_ha_day),
        "grain_unit": words.loss.unit,
        "usd_week": words.waiting.number(of.wait_usd_ha_week.mean),
        "usd_week_ends": words.waiting.ends(of.wait_usd_ha_week),
        "money_unit": words.waiting.unit,
        "label": of.before.label if of.before else "",
        "pair": pair_line(of),
        "gain": words.money.interval(of.before.gain_usd) if of.before else "",
        "why": why(of, ranking),
        "age": f"{count_of(of.reading_age_days, 'day')} old" if of.reading_age_days else "of today",
        "first": plain(100 * of.first_chance, 0) if math.isfinite(of.first_chance) else NOT_KNOWN,
    }


def _share(day: int, days: int) -> float:
    return round(100 * min(max(day, 0), days) / days, 2)


def _ticks(on: datetime.date, days: int) -> list[tuple[float, str]]:
    """Marks of the time axis: today, then about five even weeks, none so late that its words would run out of the page."""
    step, last = 7 * max(1, round(days / 7 / 5)), int(0.84 * days)
    return [(_share(day, days), "today" if day == 0 else short_day(on + datetime.timedelta(days=day))) for day in range(0, last + 1, step)]


def _curve(of: RankedField, ranking: Ranking) -> dict[str, Any]:
    """What cutting a field costs by day, 0 at its best day, with the plan's range behind it, as a path of numbers."""
    words = words_of(of, ranking)
    shown = of.curve_usd_ha[: min(len(of.curve_usd_ha), 60)]
    most = max(*shown, 1e-9)
    across = (_WIDE - 2 * _PAD) / max(len(shown) - 1, 1)
    points = " ".join(f"{_PAD + day * across:.1f},{_HIGH - _PAD - (_HIGH - 2 * _PAD) * cost / most:.1f}" for day, cost in enumerate(shown))
    early, late, at = (min((on - ranking.on).days, len(shown) - 1) for on in (of.early_on, of.late_on, of.cut_on))
    last = ranking.on + datetime.timedelta(days=len(shown) - 1)
    return {
        "name": of.field.name,
        "points": points,
        "band": (f"{_PAD + early * across:.1f}", f"{max((late - early) * across, 2):.1f}"),
        "at": f"{_PAD + at * across:.1f}",
        "top": words.waiting.text(most),
        "last": short_day(last),
        "best": short_day(of.best_on),
        "said": f"best {short_day(of.best_on)}, planned {short_day(of.cut_on)}; "
        f"top edge {words.waiting.text(most)}, right edge {short_day(last)}",
    }


def _work(ranking: Ranking) -> str:
    share = 100 * ranking.work_h / ranking.season_h / len(ranking.farm.combines)
    proof = ""
    if math.isfinite(ranking.proof_usd):
        proof = f" The order is proven to be within {plain(ranking.proof_usd, 0)} USD of the best there is, moves left out."
    return (
        f"Cutting and moving take {plain(ranking.work_h, 0)} hours, {plain(share, 0)} % of the {plain(ranking.season_h, 0)} hours fit for "
        f"harvest that are looked at{'' if len(ranking.farm.combines) == 1 else ', by machine'}.{proof}"
    )


def _sources(ranking: Ranking) -> list[str]:
    """Publications behind the figures of the crops that stand."""
    keys = [
        key
        for crop in sorted({of.field.crop.name for of in ranking.fields})
        for figure in reference.waiting(crop).values()
        for key in figure.keys
    ]
    return [reference.sources()[key] for key in dict.fromkeys(keys)]
