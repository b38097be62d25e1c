"""What the field's evidence says, in sentences that claim no more than it holds.

Loss *tracks* speed or dryness; nothing here says that it is caused by them. Money is told
only where a price was given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from lossmap.base.estimates import Delay, Driver, Estimate
from lossmap.base.field import FieldMap
from lossmap.base.tables import DRIVER_WORDS, LAYER_WORDS, POSITIONS, SOURCES
from lossmap.report.money import Price
from lossmap.report.words import NOT_KNOWN, ODDS, Words, count_of, plain, sentence

__all__ = [
    "POSITION_WORDS",
    "SOURCE_WORDS",
    "after_largest",
    "delay",
    "driver",
    "driver_word",
    "headline",
    "largest_sources",
    "zone",
]

#: Where the seed is lost, as a reader meets it for the first time.
SOURCE_WORDS: Mapping[str, str] = {
    "total": "all sources",
    "preharvest": "before the combine came",
    "header": "at the header",
    "threshing": "in the machine (threshing, separation, cleaning)",
}

#: Where frames are laid, in the order in which the combine passes over.
POSITION_WORDS: Mapping[str, str] = dict(zip(POSITIONS, ("in front of the header", "behind the header", "behind the combine"), strict=True))

# Nobody lays this many: beyond it the remedy is other stops, not more.
TOO_MANY_STOPS = 300


def headline(field_map: FieldMap) -> str:
    """The field in one line: its loss, what that is of the yield, and what it tracks."""
    words = Words(field_map.field.crop, field_map.settings.report.units)
    parts = [f"loss {words.loss.interval(field_map.loss['total'])}"]
    share = field_map.loss_of_yield_pct["total"]
    if share:
        parts.append(f"{words.percent.text(share.mean)} of total yield")
    tracked = [driver_word(name) for name, found in field_map.drivers.items() if found.verdict == "tracks"]
    parts += [f"tracks {' and '.join(tracked)}", count_of(len(field_map.zones), "zone")] if tracked else []
    return ", ".join(parts)


def driver_word(name: str) -> str:
    """ "ground speed" or "dryness"."""
    return DRIVER_WORDS.get(name, name)


def driver(found: Driver, words: Words, price: Price | None = None) -> tuple[str, str]:
    """The verdict in one short line, and its numbers with their doubt, in money too, and what they rest on."""
    parts: list[str] = []
    if found.verdict == "tracks":
        parts += [_effect(found, words), _share(found, words, price), "This is a link, not a proof of cause."]
    elif found.verdict == "no sign":
        parts.append(f"{count_of(found.stops, 'stop')} were enough to show a moderate link, and none showed{_effect_seen(found, words)}.")
    else:
        parts.append(_too_few(found))
    parts.append(_second_opinion(found))
    if found.note:
        parts.append(sentence(found.note))
    return _head(found), " ".join(part for part in parts if part)


def _second_opinion(found: Driver) -> str:
    """What maps say that only look like the driver's; nothing where none were drawn."""
    if not math.isfinite(found.coincidence):
        return ""
    smooth = f"random maps as smooth as the {'speed' if found.name == 'speed' else 'moisture'} map"
    return f"Second opinion: of {smooth}, {100 * found.coincidence:.2g} in 100 go with the counts at least as well."


def _head(found: Driver) -> str:
    """The verdict in one short line."""
    what = driver_word(found.name)
    if found.verdict == "tracks":
        return f"Loss tracks {what}."
    if found.verdict == "no sign":
        return f"No sign that loss tracks {what}."
    return f"Not enough counts to say whether loss tracks {what}."


def _effect(found: Driver, words: Words) -> str:
    if not found.effect:
        return ""
    beyond = _reference(found, words)
    step = words.step(found.name, found.effect_step)
    start = f"{beyond.capitalize()}, {step}" if beyond else step.capitalize()
    return f"{start} goes with {_times(found.effect)}, seen at {count_of(found.stops, 'stop')}."


def _times(effect: Estimate) -> str:
    return f"{effect.mean:.2f} times the loss ({effect.low:.2f} to {effect.high:.2f}, {ODDS})"


def _reference(found: Driver, words: Words) -> str:
    """From where on the effect acts."""
    if found.reference != found.reference:
        return ""
    if found.name == "speed":
        return f"above {words.speed.text(found.reference)}"
    return f"below {words.moisture.text(found.reference)} moisture"


def _share(found: Driver, words: Words, price: Price | None) -> str:
    if not found.share_kg_ha:
        return ""
    beyond = _reference(found, words) or "beyond the reference"
    what = "speeds" if found.name == "speed" else "grain"
    money = f": {price.told(found.share_kg_ha, words)}" if price is not None else ""
    return f"Over the whole field {words.loss.interval(found.share_kg_ha)} goes with {what} {beyond}{money}."


def _effect_seen(found: Driver, words: Words) -> str:
    if not found.effect:
        return ""
    return f" ({words.step(found.name, found.effect_step)} goes with {_times(found.effect)}, which may well be no change)"


def _round_number(number: int) -> int:
    """As exact as such a number is known: two figures."""
    step = int(10 ** max(len(str(number)) - 2, 0))
    return max(step, round(number / step) * step)


def _too_few(found: Driver) -> str:
    if found.stops == 0:
        return "" if found.note else "It was not tested."
    if found.stops_needed is None or found.stops_needed > TOO_MANY_STOPS:
        return (
            f"{LAYER_WORDS[found.name].capitalize()} differed too little between the {count_of(found.stops, 'stop')} to tell; "
            f"stops at clearly different {'speeds' if found.name == 'speed' else 'moistures'} would show more than more stops."
        )
    return (
        f"With {count_of(found.stops, 'stop')} even a moderate link would often be missed; "
        f"about {_round_number(found.stops_needed):,} stops like these would be needed."
    )


def zone(reason: str, numbers: Mapping[str, float], cut_at: float, words: Words) -> str:
    """One zone in a plain sentence.

    Parameters
    ----------
    reason : "speed" or "dryness"
    numbers : mapping
        The zone's row of ZONES.
    cut_at : float
        Mean speed [m/s] or moisture [%] in the zone; NaN where unknown.
    words : Words
    """
    seen = words.speed if reason == "speed" else words.moisture
    where = f"Cut at {seen.text(cut_at)}{'' if reason == 'speed' else ' moisture'} on average. " if cut_at == cut_at else ""
    loss, excess = (Estimate(*(float(numbers[f"{what}_{end}kg_ha"]) for end in ("", "low_", "high_"))) for what in ("loss", "excess"))
    return (
        f"{where}Loss {words.loss.interval(loss)}, of which {words.loss.interval(excess)} above what the same place would lose "
        f"at the reference {'speed' if reason == 'speed' else 'moisture'}; chance that it loses more: "
        f"{_chance(float(numbers['chance_pct']))}."
    )


def _chance(percent: float) -> str:
    """A chance that never claims certainty."""
    return "over 99 %" if percent >= 99 else f"{percent:.0f} %"


def largest_sources(loss: Mapping[str, Estimate]) -> tuple[str, ...]:
    """The source that loses most, and any other whose interval reaches up to it.

    Two sources of which either may be the larger are a toss-up, and a page that names one of them
    would send its reader to the wrong end of the machine half the time.
    """
    known = sorted((source for source in SOURCES if loss.get(source)), key=lambda source: -loss[source].mean)
    if not known:
        return ()
    return tuple(source for source in known if source == known[0] or loss[source].high > loss[known[0]].mean)


def after_largest(largest: tuple[str, ...]) -> str:
    """What can be said about where most is lost."""
    if not largest:
        return "The counts do not separate where the seed is lost, so nothing can be said about what to look at first."
    names = [f"{source} loss" for source in largest]
    if len(names) == 1:
        return f"Most is lost {SOURCE_WORDS[largest[0]]}."
    return f"Which is largest is a toss-up between {', '.join(names[:-1])} and {names[-1]}: their intervals overlap, so look at each."


_SENSOR_WORDS: Mapping[str, str] = {"flow": "Grain flow", "moisture": "Moisture"}


def delay(sensor: str, found: Delay, words: Words) -> str:
    """How late a sensor's readings were, how sure that is, what was done about it, and why.

    Parameters
    ----------
    sensor : "flow" or "moisture"
    found : Delay
        Without an interval it was set, or nothing could be told; its note says which.
    words : Words
    """
    what, note = _SENSOR_WORDS[sensor], found.note.strip()
    if not math.isfinite(found.low):
        if not found.applied:
            return sentence(f"{what} was not moved: {note or f'its delay is {NOT_KNOWN}'}")
        moved = f"{_seconds(abs(found.seconds), words)} {'earlier' if found.seconds > 0 else 'later'}"
        return sentence(f"{what} was moved {moved}{', ' if note else ''}{note}")
    doubt = f"({_between(found, words)}, {ODDS})"
    if found.applied:
        told = f"{what} was read {_late(found.seconds, words)} {doubt} and was moved by that."
    else:
        told = f"At best guess {what[:1].lower()}{what[1:]} was read {_late(found.seconds, words)} {doubt}; it was not moved."
    return f"{told} {sentence(note[:1].upper() + note[1:])}" if note else told


def _late(seconds: float, words: Words) -> str:
    return f"{_seconds(abs(seconds), words)} {'early' if seconds < 0 else 'late'}"


def _between(found: Delay, words: Words) -> str:
    """Both ends; said apart where one is early and the other late."""
    if found.low < 0 < found.high:
        return f"{_late(found.low, words)} to {_late(found.high, words)}"
    low, high = sorted((abs(found.low), abs(found.high)))
    return f"{plain(low, words.seconds.most)} to {_seconds(high, words)}"


def _seconds(value: float, words: Words) -> str:
    """Always with its tenth: that is what a delay is told to."""
    return f"{plain(value, words.seconds.most)} {words.seconds.unit}"
