"""What the field's evidence says, in sentences that claim no more than it holds.

Loss *tracks* speed or dryness; nothing here says that it is caused by them. Money is told
only where a price was given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from lossmap.base import reference
from lossmap.base.estimates import Delay, Driver, Estimate, Pace
from lossmap.base.field import FieldMap
from lossmap.base.reference import UsualLoss
from lossmap.base.tables import SOURCES
from lossmap.base.units import factor
from lossmap.report.words import NOT_KNOWN, ODDS, Price, Words, count_of, plain, price_usd_kg

__all__ = [
    "SOURCE_WORDS",
    "after_largest",
    "delay",
    "driver",
    "driver_word",
    "first_step",
    "headline",
    "largest_sources",
    "money_needed",
    "pace",
    "price_of",
    "reel",
    "slower_pays",
    "yardstick",
    "zone",
]

#: Where the seed is lost, as a reader meets it for the first time.
SOURCE_WORDS: Mapping[str, str] = {
    "total": "all sources",
    "preharvest": "before the combine came",
    "header": "at the header",
    "threshing": "in the machine (threshing, separation, cleaning)",
}

# Nobody lays this many: beyond it the remedy is other stops, not more.
TOO_MANY_STOPS = 300

_DRIVER_WORDS: Mapping[str, str] = {"speed": "ground speed", "dryness": "dryness"}


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
    return _DRIVER_WORDS.get(name, name)


def price_of(field_map: FieldMap) -> Price | None:
    """What the field's grain is worth; None where no price was given.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    text = field_map.settings.report.price
    return None if text is None else Price(text, price_usd_kg(text, field_map.field.crop), field_map.area_ha)


def money_needed(field_map: FieldMap) -> str:
    """What it takes to speak of money; "" where a price was given or no loss is known."""
    if field_map.settings.report.price is not None or not field_map.loss["total"]:
        return ""
    example = "4.20 USD/bu" if field_map.field.crop.bushel_lb is not None else "0.25 USD/lb"
    return f'Money needs the price of the grain: set report.price, such as "{example}".'


def yardstick(field_map: FieldMap, words: Words) -> tuple[str, tuple[str, ...]]:
    """What handbooks call this crop's loss, beside the field's, and who says so; "" where no source does."""
    rows = reference.usual_loss(field_map.field.crop.name)
    if not rows:
        return "", ()
    said = " and ".join(f"{_handbook_range(row, words)} {row.called}" for row in rows)
    in_percent = rows[0].unit == "percent"
    here = (field_map.loss_of_yield_pct if in_percent else field_map.loss)["total"]
    shown = (words.percent if in_percent else words.loss).interval(here)
    crop = field_map.field.crop.name.replace("_", " ")
    return f"For {crop}, handbooks call {said}{f'; here it is {shown}' if here else ''}.", tuple(key for row in rows for key in row.keys)


def _handbook_range(row: UsualLoss, words: Words) -> str:
    """ "3 to 5 % of the yield", "up to 1 bu/ac"."""
    ends = [end for end in (row.low, row.high) if end is not None]
    if row.unit == "percent":
        numbers, unit = [f"{end:g}" for end in ends], "% of the yield"
    else:
        by = 1.0 if words.us else factor(row.unit, "kg/ha", words.crop.bushel_lb)
        numbers, unit = [f"{end * by:.2g}" for end in ends], row.unit if words.us else "kg/ha"
    span = f"up to {numbers[0]}" if row.low is None else " to ".join(dict.fromkeys(numbers))
    return f"{span} {unit}"


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
        parts.append(_ended(found.note))
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
        what = "ground speed" if found.name == "speed" else "moisture"
        return (
            f"{what.capitalize()} differed too little between the {count_of(found.stops, 'stop')} to tell; "
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


def first_step(drivers: Mapping[str, Driver], words: Words, price: Price | None = None, found: Pace | None = None) -> str:
    """What to try first where the evidence points somewhere, before any list of settings; nothing where it does not.

    Where slower does not pay, nobody is sent slower: `pace` says what does.
    """
    parts = []
    speed, dryness = drivers.get("speed"), drivers.get("dryness")
    if speed is not None and speed.verdict == "tracks" and slower_pays(found):
        parts.append(
            f"Try the fast passes at {_slower(speed, words, found)} and count again: {_share_worth(speed.share_kg_ha, words, price)} "
            f"goes with driving faster than {words.speed.text(speed.reference)}."
        )
    if dryness is not None and dryness.verdict == "tracks":
        parts.append(
            f"Cut grain before it falls below {words.moisture.text(dryness.reference)} where you can: "
            f"{_share_worth(dryness.share_kg_ha, words, price)} goes with drier grain."
        )
    return " ".join([*parts, "A link, not a proof of cause: the second count tells."]) if parts else ""


def slower_pays(found: Pace | None) -> bool:
    """Whether the fast passes lie above the range that pays, or nobody can say."""
    return found is None or found.verdict != "told" or found.best_m_s.high < found.fastest_m_s


def _slower(speed: Driver, words: Words, found: Pace | None) -> str:
    """The speed to try: the range that pays where it can be told, else the reference."""
    if found is not None and found.verdict == "told":
        return words.speeds_to_set(found.best_m_s.low, found.best_m_s.high)
    return words.speed.text(speed.reference)


def _share_worth(share_kg_ha: Estimate, words: Words, price: Price | None) -> str:
    """ "0.35 bu/ac (0.10 to 0.65) over the field, 73 USD (20 to 137),"."""
    money = f", {price.over_field(share_kg_ha, words)}," if price is not None else ""
    return f"{words.loss.interval(share_kg_ha)} over the field{money}"


_MISSING_WORDS: Mapping[str, str] = {
    "report.hour_value": 'report.hour_value (what an hour of the combine and all that waits behind it is worth, such as "300 USD/h")',
    "report.price": "report.price",
}


def pace(field_map: FieldMap, words: Words) -> str:
    """Down to which ground speed slower pays, with its doubt and what it would save, or why that is not said."""
    found, settings = field_map.pace, field_map.settings.report
    if found is None or found.verdict == "not known":
        return ""
    if found.verdict == "no link":
        return "Which speed pays is not said: loss was not shown to track ground speed here." if settings.hour_value is not None else ""
    if found.verdict == "not priced":
        return f"Down to which ground speed slower pays can be said with {' and '.join(_MISSING_WORDS[name] for name in found.missing)}."
    span = words.speeds_to_set(found.best_m_s.low, found.best_m_s.high)
    start = f"With grain at {words.price(settings.price or '')} and an hour at {found.hour_usd_h:,.10g} USD,"
    if found.verdict == "not told apart":
        return f"{start} the speed that pays best lies anywhere from {span}, most of what was driven: the counts do not tell it apart."
    return " ".join(
        part
        for part in (
            f"{start} hours and lost grain together cost least at {span}, as far as these counts tell; the field was cut at "
            f"{words.speed.text(found.today_m_s)} on average.",
            _side(found, words),
            _edges(found, words),
            f"Taken as known: {found.efficiency_pct:g} % of the hours spent cutting.",
            "After the change, count again.",
        )
        if part
    )


def _side(found: Pace, words: Words) -> str:
    """Whether slower or faster than the mean pays, and how much."""
    if found.best_m_s.low <= found.today_m_s <= found.best_m_s.high:
        return (
            "That mean lies within the range, so the mean needs no change; "
            f"the middle of the range held throughout, instead of {words.speeds_to_set(found.slowest_m_s, found.fastest_m_s)} as driven, "
            f"saves {_saved(found.even_usd_ha, found.even_usd_h, words)}."
        )
    slower = found.best_m_s.high < found.today_m_s
    return (
        f"{'Slower' if slower else 'Faster, where ground, crop and manual allow it,'} pays as far as that: the middle of it throughout, "
        f"instead of that mean throughout, saves {_saved(found.gain_usd_ha, found.gain_usd_h, words)}."
    )


def _saved(usd_ha: Estimate, usd_h: Estimate, words: Words) -> str:
    return f"{words.money_per_area.interval(usd_ha)}, or {words.money_an_hour.interval(usd_h)} of the combine"


def _edges(found: Pace, words: Words) -> str:
    """Says where the range ends only because nobody drove beyond it."""
    step = 0.01 * (found.fastest_m_s - found.slowest_m_s)
    if found.best_m_s.low <= found.slowest_m_s + step:
        return f"Slower than {words.speed.text(found.slowest_m_s)} was hardly driven, so what it would do is {NOT_KNOWN}."
    if found.best_m_s.high >= found.fastest_m_s - step:
        return f"Faster than {words.speed.text(found.fastest_m_s)} was hardly driven, so what it would do is {NOT_KNOWN}."
    return ""


def reel(field_map: FieldMap, words: Words) -> tuple[str, tuple[str, ...]]:
    """How fast the reel ran against the ground, beside what sources give, and which; "" where field.toml does not say."""
    facts, found = field_map.field.facts, field_map.reel
    if found is None:
        return _reel_needs(facts.reel_diameter, facts.reel_rpm), ()
    ran = (
        f"At {words.speed.text(found.mean_m_s)}, the mean, the reel's tips ran {found.index:.2f} times as fast as the ground; "
        f"{found.fast_index:.2f} times on the fast passes, {found.slow_index:.2f} on the slow ones."
    )
    usual, crop = reference.reel_range(field_map.field.crop.name), field_map.field.crop.name.replace("_", " ")
    if usual is None:
        return f"{ran} No source here gives a range for {crop}: your manual does.", ()
    place = "faster than" if found.index > usual.high else "slower than" if found.index < usual.low else "within"
    also = f" (one goes to {usual.also:g})" if usual.also is not None else ""
    middle = (usual.low + usual.high) / 2
    told = (
        f"{ran} That is {place} the {usual.low:g} to {usual.high:g} that sources give for {crop}{also}; "
        f"{found.rpm_per_index * middle:.0f} rev/min would be the middle of that range at the mean speed."
    )
    return told, (*usual.low_keys, *usual.high_keys, *usual.also_keys)


def _reel_needs(diameter_m: float | None, rpm: float | None) -> str:
    """Names the fact that is missing where only one of the two is given."""
    if (diameter_m is None) == (rpm is None):
        return ""
    return f"How fast the reel ran against the ground needs {'reel_diameter' if diameter_m is None else 'reel_rpm'} in field.toml too."


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
            return _ended(f"{what} was not moved: {note or f'its delay is {NOT_KNOWN}'}")
        moved = f"{_seconds(abs(found.seconds), words)} {'earlier' if found.seconds > 0 else 'later'}"
        return _ended(f"{what} was moved {moved}{', ' if note else ''}{note}")
    doubt = f"({_between(found, words)}, {ODDS})"
    if found.applied:
        told = f"{what} was read {_late(found.seconds, words)} {doubt} and was moved by that."
    else:
        told = f"At best guess {what[:1].lower()}{what[1:]} was read {_late(found.seconds, words)} {doubt}; it was not moved."
    return f"{told} {_ended(note[:1].upper() + note[1:])}" if note else told


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


def _ended(text: str) -> str:
    """`text` as a sentence."""
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
