"""What speed and dryness go with inside the fields of a season, in sentences that claim no more than the evidence holds.

Loss *tracks* a driver within fields. What differs between fields is shown beside it, and no
verdict rests on it; what a third cause shared by all fields could do is said wherever one is given.
"""

from __future__ import annotations

import math

from lossmap.base.estimates import Estimate
from lossmap.base.season import PooledDriver
from lossmap.base.units import quantity
from lossmap.report.money import Price
from lossmap.report.sentences import driver_word
from lossmap.report.words import ODDS, Words, count_of, sentence

__all__ = ["between_line", "driver_head", "driver_lines", "shared_cause", "times_of"]


def driver_head(found: PooledDriver) -> str:
    """The verdict in one short line."""
    what = driver_word(found.name)
    if found.verdict == "tracks":
        return f"Within the fields, loss tracks {what}."
    if found.verdict == "no sign":
        return f"Within the fields, no sign that loss tracks {what}."
    return f"Not enough counts to say whether loss tracks {what} within the fields."


def driver_lines(found: PooledDriver, words: Words, price: Price | None = None) -> list[str]:
    """What stands behind the verdict: effect, how far fields agree, what goes with it, and what could explain it away."""
    lines = [sentence(found.note)] if found.note else []
    if not found.fields:
        return lines
    lines.append(_effect(found, words))
    lines.append(_agreement(found, words))
    if found.verdict == "tracks":
        lines += [_share(found, words, price), _hidden(found), _borrowed(found)]
    return [line for line in lines if line]


def _effect(found: PooledDriver, words: Words) -> str:
    if not found.effect:
        return ""
    step = words.step(found.name, found.effect_step)
    seen = f"{step.capitalize()} goes with {times_of(found.effect)} the loss in an average field"
    rest = f"by the counts of {count_of(found.fields, 'field')}, each compared with itself alone"
    tail = {
        "tracks": ". This is a link, not a proof of cause",
        "no sign": ". That may well be no change: counts like these would show a moderate link 8 times in 10",
        "not enough counts": ". That may well be no change: even a moderate link would often be missed with these counts",
    }
    return f"{seen}, {rest}{tail[found.verdict]}."


def times_of(ratio: Estimate) -> str:
    """A ratio with its doubt: "1.45 times (1.12 to 1.90, 9 times in 10)"."""
    return f"{ratio.mean:.2f} times ({ratio.low:.2f} to {ratio.high:.2f}, {ODDS})"


def _agreement(found: PooledDriver, words: Words) -> str:
    """How many fields lean the same way, and how much they differ."""
    lean = f"By its own counts alone, the link leans that way in {found.leaning:,} of {count_of(found.fields, 'field')}"
    if found.fields == 1 or not found.between_sd or not found.slope:
        return f"{lean}."
    low, high = (_by_step(found, found.slope.mean + side * found.between_sd.mean) for side in (-1, 1))
    step = words.step(found.name, found.effect_step)
    return f"{lean}. Fields differ: in about two of three, {step} goes with {low:.2f} to {high:.2f} times the loss."


def _by_step(found: PooledDriver, slope: float) -> float:
    """Factor on loss of one step, from a slope of log loss."""
    return math.exp(slope * abs(quantity(found.effect_step, "m/s" if found.name == "speed" else "percent")))


def _share(found: PooledDriver, words: Words, price: Price | None) -> str:
    if not found.share_kg_ha:
        return ""
    what = "speeds above" if found.name == "speed" else "grain drier than"
    money = f", {price.told(found.share_kg_ha, words, 'all fields')}" if price is not None else ""
    return f"{words.loss.interval(found.share_kg_ha)} over all fields goes with {what} each field's own reference{money}."


def _hidden(found: PooledDriver) -> str:
    if not found.hidden_correlation:
        return ""
    ends = found.hidden_correlation
    return (
        f"A third cause could explain this away if, within the fields, it went with {driver_word(found.name)} at a correlation of "
        f"{ends.mean:.2f} or more ({ends.low:.2f} to {ends.high:.2f}) and changed loss as much as loss changes for reasons unknown."
    )


def _borrowed(found: PooledDriver) -> str:
    """Fields whose verdict rests on the season."""
    number = sum(slope.tracks for slope in found.shrunken.values())
    return f"Of {count_of(number, 'field')} its own counts and the season's together say the same." if number else ""


def between_line(found: PooledDriver, words: Words) -> str:
    """What differs between fields; "" where that is not known."""
    if not found.between_fields:
        return ""
    ratio = Estimate(*(_by_step(found, end) for end in (found.between_fields.mean, found.between_fields.low, found.between_fields.high)))
    step = words.step(found.name, found.effect_step)
    return (
        f"For comparison only, between fields: a field cut {step.removeprefix('each ')} than another on average lost {times_of(ratio)} "
        "as much. Fields differ in soil, variety, weather and who drove, so no verdict rests on this."
    )


def shared_cause() -> tuple[str, ...]:
    """What more fields do not rule out, and what does."""
    return (
        "A third cause that goes with speed or moisture inside every field makes the same picture: drier knolls that lose more for another "
        "reason lose more where it is dry, whatever dryness does. More fields make such a picture surer, not truer.",
        # topic "season" of shared/expected/evidence.md
        "In a simulation without any link, where a hidden cause had a correlation of 0.3 with ground speed within each field, speed was "
        "flagged in 3 % of single fields, in 31 % of seasons of 5 fields, and in 91 % of seasons of 20.",
        "Only a trial tells: in one part of one field drive every other pass slower, or leave half of it to a damper hour, and count both.",
    )
