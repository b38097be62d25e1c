"""Whether speed advice holds what it says: the speed that costs least, and what the speed it names saves."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from slow.fields import MODERATE, STRONG, USUAL, Floats, Mapped, Row, alike, holds, mapped, over_fields, rate
from slow.findings_curves import planted

from lossmap import synthetic
from lossmap.base.estimates import Estimate, Pace
from lossmap.base.tables import POSITIONS, SOURCES
from lossmap.synthetic import FieldPlan
from lossmap.zones import Costs, driver, pace

FIRST, POSITIONS_FIRST = 12_000, 13_000
#: Why savings are missed where every effect is strong, and what is more where frames lie in front of the header.
READ_SMALL = "not mended: from few random stops a strong effect is read too small, partly as the slopes' prior draws it to none"
PULLED = "; more so here, where seed that fell before harvest shares the slope"
#: Stops of four frames.
STOPS = (24, 48)
#: Speeds from which the planted effect acts [m/s]: from the slowest eighth of the field to its fastest quarter.
KNOTS_M_S = (1.5, 2.3)
# Half of the field is driven faster; no beginning beyond the fastest two fifths is tried.
LATE_M_S = 2.0
#: What of the loss the header leaves, on which alone the planted effect acts.
HEADER_SHARE = (0.5, 0.9)
#: Value of an hour [USD/h] and of soybean [USD/kg, 11 USD/bu]: at the first hardly any slower speed pays, at the last nearly any does.
HOURS_USD_H, PRICE_USD_KG = (400.0, 100.0), 0.404
EFFICIENCY_PCT = 70.0


@dataclass(frozen=True)
class Advised:
    """What is said of one field, whatever its verdict, and what is so under the planted loss.

    Attributes
    ----------
    is_told : bool
        Whether a user is told.
    said : Pace
    best_m_s : float
        Speed that truly costs least, of those driven.
    gain_usd_ha, even_usd_ha : float
        What the speed that was named truly saves, over today's mean throughout and over the speeds as driven.
    """

    is_told: bool
    said: Pace
    best_m_s: float
    gain_usd_ha: float
    even_usd_ha: float


def plan(rng_seed: int, stops: int) -> FieldPlan:
    """A field with a moderate or a strong effect of speed on what the header loses, from somewhere on.

    Half of them have an effect of dryness too, half of them stops spread over the speeds, a third all three positions counted.
    """
    rng = np.random.default_rng([rng_seed, 3])
    like, header, before = alike(rng_seed), rng.uniform(*HEADER_SHARE), rng.uniform(0.2, 0.7)
    total = sum(getattr(like, name).mean_kg_ha for name in SOURCES)
    shares = {"preharvest": (1 - header) * before, "header": header, "threshing": (1 - header) * (1 - before)}
    return dataclasses.replace(
        like,
        **{name: dataclasses.replace(getattr(like, name), mean_kg_ha=share * total) for name, share in shares.items()},
        speed_effect=float(rng.choice([MODERATE["speed_effect"], STRONG["speed_effect"]])),
        speed_knot_m_s=rng.uniform(*KNOTS_M_S),
        dryness_effect=float(rng.choice([1.0, MODERATE["dryness_effect"]])),
        design=str(rng.choice(["random", "spread"])),
        positions=POSITIONS if rng.uniform() < 1 / 3 else POSITIONS[-1:],
        stops=stops,
        frames=4,
    )


def costs(rng_seed: int) -> Costs:
    """Another value of an hour for each field."""
    share = np.random.default_rng([rng_seed, 4]).uniform()
    dear, cheap = HOURS_USD_H
    return Costs(float(cheap * (dear / cheap) ** share), PRICE_USD_KG, FieldPlan().header_width_m, EFFICIENCY_PCT)


def advised(plan: FieldPlan, rng_seed: int) -> Advised:
    """Make, count and map one field, and say which speed pays."""
    return _advised(mapped(synthetic.make(plan, rng_seed)), costs(rng_seed))


def _advised(here: Mapped, at: Costs) -> Advised:
    evidence, speeds = here.found.evidence["speed"], here.true("speed_m_s")
    found = driver(evidence, USUAL.zones)
    said = pace(dataclasses.replace(found, verdict="tracks"), evidence, speeds, here.found.field_total, at)
    is_told = found.verdict == "tracks" and said.verdict == "told"
    return Advised(is_told, said, *_true(here, at, said)) if said.best_m_s else Advised(False, said, *[math.nan] * 3)


def _true(here: Mapped, at: Costs, said: Pace) -> tuple[float, float, float]:
    """The speed that costs least, and the two savings of the speed that was named, by the planted loss."""
    hour, price, loss = at.hour_usd_h or math.nan, at.price_usd_kg or math.nan, planted(here, "speed")

    def cost(speed_m_s: Floats) -> Floats:
        return np.asarray(hour / at.hectares_an_hour(speed_m_s) + price * loss(speed_m_s))

    slowest, fastest = said.slowest_m_s, said.fastest_m_s
    tried = np.linspace(slowest, fastest, 2001)
    driven = here.true("speed_m_s")
    today, named = cost(np.array([driven.mean(), said.best_m_s.mean]))
    hours = hour * float((1 / at.hectares_an_hour(np.clip(driven, slowest, fastest))).mean())
    return float(tried[np.argmin(cost(tried))]), float(today - named), float(hours + price * here.true().mean() - named)


def rows(fields: int = 120) -> list[Row]:
    """Few stops and many: the fields where advice is told, the hard ones among them, and all that have a slope."""
    return [row for stops in STOPS for row in _rows(stops, fields)]


def _rows(stops: int, fields: int) -> list[Row]:
    plans = [plan(rng_seed, stops) for rng_seed in range(FIRST, FIRST + fields)]
    every = over_fields(advised, list(zip(plans, range(FIRST, FIRST + fields), strict=True)))
    told = [(each, made) for each, made in zip(every, plans, strict=True) if each.is_told]
    what = f"speed advice, moderate and strong effects, {stops} stops x4, {fields} fields:"
    groups = {
        "told": [each for each, _ in told],
        "told, effect from 2 m/s or faster": [each for each, made in told if made.speed_knot_m_s >= LATE_M_S],
        "told, all three positions counted": [each for each, made in told if len(made.positions) > 1],
        "with a slope, told or not": [each for each in every if each.said.best_m_s],
    }
    return [_row(f"{what} {len(group)} {words}", group, words == "told") for words, group in groups.items() if group]


def position_rows(fields: int = 60) -> list[Row]:
    """The same fields counted at all three positions and behind the combine alone: one slope is fitted to all frames.

    Fields as `FieldPlan` has them unless told otherwise: rough loss, five speeds, a slow headland.
    """
    return [
        _position_row(words, positions, fields)
        for words, positions in (("all three positions", POSITIONS), ("behind only", POSITIONS[-1:]))
    ]


def _position_row(words: str, positions: tuple[str, ...], fields: int) -> Row:
    seeds = range(POSITIONS_FIRST, POSITIONS_FIRST + fields)
    more = {"stops": STOPS[0], "frames": 4, "positions": positions, "speed_effect": STRONG["speed_effect"]}
    plans = [FieldPlan(**more, speed_knot_m_s=plan(rng_seed, STOPS[0]).speed_knot_m_s) for rng_seed in seeds]
    told = [each for each in over_fields(advised, list(zip(plans, seeds, strict=True))) if each.is_told]
    what = f"speed advice, strong effect, {STOPS[0]} random stops x4, {words}, {fields} fields: {len(told)} told"
    return dataclasses.replace(_row(what, told, True), excuse=READ_SMALL + (PULLED if len(positions) > 1 else "") + "; the page says so")


def _row(what: str, fields: Sequence[Advised], has_line: bool) -> Row:
    """How often each of three intervals holds the truth, how wide it is, and how far its middle is off."""
    of = {
        "best speed [m/s]": [(each.said.best_m_s, each.best_m_s) for each in fields],
        "saving of the speed named over the mean speed [USD/ha]": [(each.said.gain_usd_ha, each.gain_usd_ha) for each in fields],
        "over the speeds as driven [USD/ha]": [(each.said.even_usd_ha, each.even_usd_ha) for each in fields],
    }
    measured = "; ".join(_measured(name, pairs) for name, pairs in of.items())
    kept = all(_is_about_90([holds(*pair) for pair in pairs]) for pairs in of.values())
    return Row(what, measured, "each .85-.95 +- 2 errors" if has_line else "", kept if has_line else None)


def _is_about_90(marks: Sequence[bool]) -> bool:
    share = float(np.mean(marks))
    slack = 2 * math.sqrt(share * (1 - share) / len(marks))
    return 0.85 - slack <= share <= 0.95 + slack


def _measured(name: str, pairs: Sequence[tuple[Estimate, float]]) -> str:
    width = np.median([said.high - said.low for said, _ in pairs])
    off = np.mean([said.mean - true for said, true in pairs])
    return f"{name} **{rate([holds(*pair) for pair in pairs])}**, median width {width:.2f}, middle off by {off:+.2f} on average"
