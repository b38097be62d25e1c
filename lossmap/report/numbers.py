"""The field in numbers, in the words both pages use."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from lossmap.base.estimates import NOTHING
from lossmap.base.field import FieldMap
from lossmap.base.tables import SOURCES
from lossmap.report.money import price_of
from lossmap.report.sentences import SOURCE_WORDS, driver_word
from lossmap.report.unknown import is_flat
from lossmap.report.words import NOT_KNOWN, ODDS, Words, count_of, day_of

__all__ = [
    "LossRow",
    "doubt_line",
    "flat_line",
    "grain_line",
    "headline",
    "loss_rows",
    "more_counts",
    "seeds_line",
    "subtitle",
    "words_of",
]


@dataclass(frozen=True)
class LossRow:
    """One source of loss as a row of a table."""

    source: str
    where: str
    loss: str
    other: str
    share: str
    of_loss: str
    money: str


def words_of(field_map: FieldMap) -> Words:
    """The words this field is told in."""
    return Words(field_map.field.crop, field_map.settings.report.units)


def subtitle(field_map: FieldMap, words: Words) -> str:
    """Crop, date and area under the field's name."""
    cut = field_map.field.facts.harvested_on
    crop = field_map.field.crop.name.replace("_", " ").capitalize()
    area = f"{words.area.text(field_map.area_ha)}{'' if field_map.outline_given else ' (the area the log cut)'}"
    return " · ".join([crop, *([f"cut {day_of(cut)}"] if cut else []), area])


def headline(field_map: FieldMap, words: Words) -> tuple[str, str]:
    """The one number the field is about, and its doubt."""
    total = field_map.loss["total"]
    if not total:
        return f"Loss is {NOT_KNOWN}", ""
    return f"Loss {words.loss.text(total.mean)}", f"({words.loss.ends(total)})"


def doubt_line() -> str:
    """How to read every interval of the page."""
    return f"In brackets the 90 % interval: {ODDS} the truth lies inside."


def loss_rows(field_map: FieldMap, words: Words) -> list[LossRow]:
    """Loss by source, the sum last."""
    return [_row(field_map, source, words) for source in (*SOURCES, "total")]


def _row(field_map: FieldMap, source: str, words: Words) -> LossRow:
    loss, share = field_map.loss[source], field_map.loss_of_yield_pct[source]
    price = price_of(field_map)
    return LossRow(
        "all sources" if source == "total" else f"{source} loss",
        "" if source == "total" else SOURCE_WORDS[source],
        words.loss.interval(loss),
        words.other_loss.interval(loss),
        words.percent.interval(share),
        _of_loss(field_map, source, words),
        price.by_area(loss, words) if price is not None else "",
    )


def _of_loss(field_map: FieldMap, source: str, words: Words) -> str:
    """A source's share in the loss; nothing for the sum, or where no source is told apart."""
    share = field_map.share_of_loss_pct.get(source, NOTHING)
    return words.percent.interval(share) if any(field_map.share_of_loss_pct.values()) and source != "total" else ""


def grain_line(field_map: FieldMap, words: Words) -> str:
    """The loss of the whole field in grain; "" where no loss is known."""
    total = field_map.loss["total"]
    if not total:
        return ""
    return f"Over its {words.area.text(field_map.area_ha)} that is {words.grain.interval(total.times(field_map.area_ha))} of grain."


def seeds_line(field_map: FieldMap, words: Words) -> str:
    """The loss as what lies on the ground, for whoever goes to look."""
    total, mass = field_map.loss["total"], field_map.seed_mass_g
    if not total or not mass:
        return ""
    # 1 kg/ha is 0.1 g/m2; seed mass is that of a thousand.
    seeds = total.times(100.0 / mass.mean)
    thousand = f"{mass.mean:.3g} g a thousand ({mass.low:.3g} to {mass.high:.3g})"
    counted = field_map.loss_by_counting
    apart = ""
    # with the seed weighed there is nothing left to say
    if counted and mass.high > mass.low and words.loss.ends(counted) != words.loss.ends(total):
        span = f"{words.loss.number(counted.low)} to {words.loss.text(counted.high)}"
        apart = f" Were the mass of a seed known, counting alone would leave {span}."
    return f"On the ground that is {words.seeds.interval(seeds)}, at {thousand}.{apart}"


def more_counts(field_map: FieldMap, unknown: shapely.Geometry | None) -> str:
    """Where the next counts come from, where verdicts or a part that is `unknown` are open; "" where nothing is."""
    open_words = [driver_word(name) for name, found in field_map.drivers.items() if found.verdict == "not enough counts" and found.stops]
    open_words += ["places not counted"] if unknown is not None else []
    if not open_words:
        return ""
    return f"More counts would settle what is open ({', '.join(open_words)}): lossmap stops plans where the next ones tell most."


def flat_line(field_map: FieldMap) -> str:
    """Says that the map of loss is one field mean, where it is; "" where it is a map."""
    loss = field_map.surfaces.get("loss_kg_ha")
    if loss is None:
        return (
            "There is no map of loss: nothing was counted." if field_map.losses.empty else "No map of loss could be made from these counts."
        )
    if not is_flat(loss):
        return ""
    made = f" ({loss.note})" if loss.note else ""
    return (
        f"Field mean only: with {count_of(len(field_map.losses), 'stop')} the counts cannot say "
        f"where in the field loss is higher or lower{made}. "
        "The map of loss shows one value everywhere."
    )
