"""An order of harvest in plain words: headline, reasons and cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from lossmap.base.estimates import Estimate
from lossmap.base.ranking import RankedField, Ranking
from lossmap.base.reference import waiting
from lossmap.report.words import Words, count_of, plain, sentence, short_day

__all__ = [
    "blocks",
    "cautions",
    "gain_lines",
    "headline",
    "hour_lines",
    "measure_line",
    "pair_line",
    "why",
    "words_of",
]

#: A reading older than this is to be taken again; beyond the second no date is given [d].
STALE, BLIND = 4, 10
#: Parts below this share of what waiting costs are not worth a word.
LEAST_SHARE = 0.15

# Where the money of waiting goes, as it is said of each crop; the second when it comes back.
_PARTS = {
    "corn": {
        "preharvest": ("lodging with dropped ears", ""),
        "header": ("drier ears shelling at the header", "less lost at the header"),
        "threshing": ("wet threshing", "cleaner threshing"),
        "weight": ("grain drier than the market pays for", "weight"),
        "drying": ("drying", "less to dry"),
        "wet": ("grain too wet to cut", "grain dry enough to cut"),
    },
    "soybean": {
        "preharvest": ("opened and weathered pods", ""),
        "header": ("brittle pods shattering at the header", "less shatter at the header"),
        "threshing": ("damp threshing", "cleaner threshing"),
        "weight": ("beans drier than the market pays for", "weight"),
        "drying": ("shrink and drying", "less shrink"),
        "wet": ("beans too damp to cut", "beans dry enough to cut"),
    },
}


def words_of(of: RankedField, ranking: Ranking) -> Words:
    """The words a field is told in."""
    return Words(of.field.crop, ranking.settings.page.units)


def headline(ranking: Ranking) -> tuple[str, str]:
    """Where to go, and what a day of waiting there costs."""
    first = ranking.fields[0]
    words = words_of(first, ranking)
    crop = "beans" if first.field.crop.name == "soybean" else first.field.crop.name
    reason = _state(first)
    field = f"{first.field.name} ({crop}, {words.moisture.text(first.moisture_now_pct.mean)}{', ' + reason if reason else ''})"
    ahead = (first.cut_on - ranking.on).days
    if ahead > 0:
        saved = first.curve_usd_ha[0] - first.curve_usd_ha[min(ahead, len(first.curve_usd_ha) - 1)]
        return (
            f"Go to {field} tomorrow." if ahead == 1 else f"Wait until about {short_day(first.cut_on)}, then go to {field}.",
            f"Cut today it would bring {words.waiting.text(saved)} less than then; no other field is worth more today.",
        )
    head = f"Go to {field}."
    usd, grain = first.wait_usd_ha_day, first.wait_kg_ha_day
    if usd.mean <= 0:
        return (
            head,
            f"Waiting there until tomorrow would still pay: {words.waiting.interval(_negative(usd))}; others need the hours later.",
        )
    loses = "" if grain.mean <= 0 else f", {words.loss.interval(grain)} of grain"
    return head, f"A day of waiting there costs {words.waiting.interval(usd)}{loses}."


def _negative(estimate: Estimate) -> Estimate:
    return Estimate(-estimate.mean, -estimate.high, -estimate.low)


def _state(of: RankedField) -> str:
    """What makes a field urgent, in a word."""
    moisture, figures = of.moisture_now_pct.mean, waiting(of.field.crop.name)
    if of.field.standability is not None and of.field.standability >= 2:
        return "weak stalks"
    if moisture < figures["header_brittle_below"].range.mean:
        return "brittle"
    if of.field.crop.name == "soybean" and moisture < figures["header_dry_below"].range.mean + 3:
        return "brittle soon"
    return ""


def why(of: RankedField, ranking: Ranking) -> str:
    """Why the field stands where it does: what a week of waiting costs or brings, and of what."""
    words = words_of(of, ranking)
    week, parts = of.wait_usd_ha_week, of.wait_parts_usd_ha_week
    said = _PARTS.get(of.field.crop.name, _PARTS["corn"])
    costs = _largest({said[name][0]: value for name, value in parts.items() if value > 0})
    brings = _largest({said[name][1]: -value for name, value in parts.items() if value < 0 and said[name][1]})
    if week.mean >= 0:
        text = f"A week of waiting costs {words.waiting.interval(week)}: {_listed(costs)}"
        text += f"; {_listed(brings)} {'gives' if len(brings) == 1 else 'give'} some back" if brings else ""
    else:
        text = f"A week of waiting pays {words.waiting.interval(_negative(week))}: {_listed(brings) or 'it dries'}"
        text += f"; {_listed(costs)} {'takes' if len(costs) == 1 else 'take'} some" if costs else ""
    stalks = of.field.standability
    pushed = "" if stalks is None or stalks < 2 else f" {plain(stalks, 0 if float(stalks).is_integer() else 1)} stalks of 10 fail a push."
    return f"{text}.{pushed}"


def _largest(parts: Mapping[str, float]) -> list[str]:
    whole = sum(parts.values())
    return [name for name, value in sorted(parts.items(), key=lambda part: -part[1])[:2] if value >= LEAST_SHARE * whole]


def _listed(names: Sequence[str]) -> str:
    return " and ".join(names)


def pair_line(of: RankedField) -> str:
    """How sure it is that the field goes before the next one of its machine."""
    if of.before is None:
        return "last of its machine"
    pair = of.before
    if pair.label == "toss-up":
        return f"toss-up with {pair.other}"
    return f"{pair.label}: before {pair.other} in {plain(100 * pair.chance, 0)} of 100 seasons"


def blocks(ranking: Ranking) -> list[tuple[str, list[RankedField]]]:
    """Fields by now, next and later, those that have any."""
    named = [(block, [of for of in ranking.fields if of.block == block]) for block in ("now", "next", "later")]
    return [(block, fields) for block, fields in named if fields]


def gain_lines(ranking: Ranking) -> list[str]:
    """What the order saves over each rule, in simulated seasons."""
    out = []
    area = sum(of.field.area_ha for of in ranking.fields)
    words = words_of(ranking.fields[0], ranking)
    for gain in ranking.gains:
        if abs(gain.usd.mean) < 1:
            out.append(f"{gain.rule.capitalize()} is this same order, or as good.")
            continue
        per_area = words.waiting.text(gain.usd.mean / area)
        as_good = f"; it does as well in {plain(100 * gain.rule_as_good, 0)} of 100 seasons"
        out.append(f"{gain.rule.capitalize()} costs {words.money.interval(gain.usd)} more on the farm, {per_area}{as_good}.")
    return out


def hour_lines(ranking: Ranking) -> list[str]:
    """What an hour, a day and three days of each machine are worth from now on."""
    money = words_of(ranking.fields[0], ranking).money
    return [
        f"{'An hour' if len(ranking.lost_hours) == 1 else lost.combine + ': an hour'} lost now costs the farm {money.text(lost.hour_usd)}, "
        f"a day {money.text(lost.day_usd)}, three days {money.text(lost.three_days_usd)}."
        for lost in ranking.lost_hours
    ]


def measure_line(ranking: Ranking) -> str:
    """Which reading to take next; "" where none would change what is done first."""
    if ranking.measure is None:
        return ""
    worth = next(of.reading_worth_usd for of in ranking.fields if of.field.name == ranking.measure)
    return f"Measure {ranking.measure} again: of all readings it would tell most about where to begin (worth about {plain(worth, 0)} USD)."


def cautions(ranking: Ranking) -> list[str]:
    """What to know before following the order."""
    out = []
    stale = [of for of in ranking.fields if of.reading_age_days > STALE]
    blind = [of for of in stale if of.reading_age_days > BLIND]
    if stale:
        out.append(
            f"Readings older than {STALE} days, measure again: {_names(stale, lambda of: f'{of.field.name} ({of.reading_age_days} days)')}."
        )
    if blind:
        out.append(f"No date is given where the reading is older than {BLIND} days: {_names(blind, lambda of: of.field.name)}.")
    unpushed = [of for of in ranking.fields if of.field.standability is None]
    if unpushed:
        out.append(f"Nobody pushed stalks in {_names(unpushed, lambda of: of.field.name)}: usual stalks (1 of 10 fails) are taken.")
    undated = [of for of in ranking.fields if of.field.matured_on is None]
    if undated:
        out.append(f"No day of maturity for {_names(undated, lambda of: of.field.name)}: reckoned back from the first reading.")
    close = [of for of in ranking.fields if of.before and of.before.label == "toss-up"]
    if close:
        out.append(
            f"{count_of(len(close), 'pair')} of neighbours {'is a toss-up' if len(close) == 1 else 'are toss-ups'}: choose by convenience."
        )
    if any(of.field.measured is None for of in ranking.fields):
        out.append("Losses are published ranges, not this farm's own counts, but for fields that name a map.")
    if ranking.dryer_binds:
        out.append("The dryer is slower than the combine in some fields: they take longer.")
    if ranking.forecast_days == 0:
        out.append("No forecast was given: the first days are taken from past years like all others.")
    out.append("A wind storm in weak stalks is not foreseen: after one, push stalks and plan again.")
    out.append(
        "Money leans on prices and drying cost as given; the gain over rules is that of simulated seasons and likely smaller in the field."
    )
    return [*out, *map(sentence, ranking.notes)]


def _names(fields: Sequence[RankedField], said: Any, most: int = 6) -> str:
    named = ", ".join(said(of) for of in fields[:most])
    return named if len(fields) <= most else f"{named} and {len(fields) - most} more"
