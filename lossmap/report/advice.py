"""What to do about the loss, in sentences that send nobody where the evidence does not.

Beside what was found stand what handbooks call usual, the ground speed that pays and the
speed of the reel, each with its doubt or its sources. A link is no proof of cause: every
change is followed by a second count.
"""

from __future__ import annotations

from collections.abc import Mapping

from lossmap.base import reference
from lossmap.base.estimates import Driver, Estimate, Pace
from lossmap.base.field import FieldMap
from lossmap.base.reference import UsualLoss
from lossmap.base.units import factor
from lossmap.report.money import Price, as_given
from lossmap.report.words import NOT_KNOWN, Words

__all__ = ["first_step", "pace", "reel", "slower_pays", "yardstick"]


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


# Simulations, shared/expected/evidence.md: pace-positions.
_READ_SMALL = "Few counts read a strong effect rather too small: more may be saved than that."

# One slope is fitted to all frames, and what fell before harvest does not rise with speed (the same simulations).
_BEFORE_HARVEST = (
    "What fell before harvest was counted too and draws the effect down: where it is strong, more may be saved than is said here."
)


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
    start = f"With grain at {as_given(settings.price or '')} and an hour at {found.hour_usd_h:,.10g} USD,"
    if found.verdict == "not told apart":
        return f"{start} the speed that pays best lies anywhere from {span}, most of what was driven: the counts do not tell it apart."
    return " ".join(
        part
        for part in (
            f"{start} hours and lost grain together cost least at {span}, as far as these counts tell; the field was cut at "
            f"{words.speed.text(found.today_m_s)} on average.",
            _side(found, words),
            _edges(found, words),
            _BEFORE_HARVEST if field_map.loss["preharvest"] else "",
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
            f"saves {_saved(found.even_usd_ha, found.even_usd_h, words)}. {_READ_SMALL}"
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
