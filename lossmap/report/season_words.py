"""A season in plain words: what was left, what speed and dryness go with, which headers and people differ, and what to change.

Fields of different crops are told apart: bushels of corn and of soybeans make no sum. Loss
*tracks* a driver within fields; what differs between fields is shown beside it and rests on nothing.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd

from lossmap.base import reference
from lossmap.base.errors import shown
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.season import FACTORS, LevelContrast, PooledDriver, Season
from lossmap.base.units import quantity
from lossmap.report.sentences import driver_word
from lossmap.report.words import ODDS, Price, Scale, Words, count_of, plain, price_usd_kg, sentence

__all__ = [
    "CropLoss",
    "ShownContrast",
    "between_line",
    "cautions",
    "common_words",
    "contrast_says",
    "contrasts_shown",
    "crop_losses",
    "driver_head",
    "driver_lines",
    "failed",
    "first_steps",
    "in_short",
    "mapped",
    "said_of_season",
    "shared_cause",
    "signed",
    "subtitle",
]

#: A contrast that is not told leans one way from this chance on.
LEANS = 0.9
#: Levels that could not be compared are named up to this many.
MOST_NAMED = 8


@dataclass(frozen=True)
class CropLoss:
    """What was left of one crop over its fields.

    Attributes
    ----------
    fields : int
        Whose loss is known.
    area_ha : float
        Of those.
    loss : mapping of str to Estimate
        ``total`` and sources [kg/ha].
    share_pct : Estimate
        Of the total yield.
    price : Price or None
    """

    words: Words
    fields: int
    area_ha: float
    loss: Mapping[str, Estimate]
    share_pct: Estimate
    price: Price | None

    @property
    def name(self) -> str:
        """The crop as people write it."""
        return self.words.crop.name.replace("_", " ")

    @property
    def total(self) -> Estimate:
        """Over all sources [kg/ha]."""
        return self.loss.get("total", NOTHING)

    @property
    def more(self) -> str:
        """The loss in percent, in grain of all the fields, and in money."""
        words = self.words
        parts = [f"{words.percent.interval(self.share_pct)} of the total yield"] if self.share_pct else []
        parts.append(f"{words.grain.interval(self.total.times(self.area_ha))} in all")
        if self.price is not None:
            parts.append(f"{self.price.over_field(self.total, words)} at {words.price(self.price.text)}")
        return f"over {count_of(self.fields, 'field')} and {words.area.text(self.area_ha)}: {', '.join(parts)}"


@dataclass(frozen=True)
class ShownContrast:
    """A contrast as it is shown: `against` is the one other level, or "all others"."""

    contrast: LevelContrast
    against: str


def mapped(season: Season) -> gpd.GeoDataFrame:
    """The fields that have a map."""
    return season.fields[season.fields["error"] == ""]


def failed(season: Season) -> gpd.GeoDataFrame:
    """The fields that have none."""
    return season.fields[season.fields["error"] != ""]


def crop_losses(season: Season) -> tuple[CropLoss, ...]:
    """Loss by crop, the one with most ground first; a crop of which no loss is known is left out.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of one of the crops.
    """
    fields = mapped(season)
    fields = fields[fields["total_kg_ha"].notna()]
    found = []
    for name, rows in fields.groupby("crop"):
        words = Words(reference.crop(str(name)), season.settings.report.units)
        area_ha = float(rows["area_ha"].sum())
        loss = season.pooled.by_crop.get(str(name), season.pooled.loss if fields["crop"].nunique() == 1 else {})
        text = season.settings.report.price
        price = None if text is None else Price(text, price_usd_kg(text, words.crop), area_ha)
        if loss.get("total", NOTHING):
            found.append(CropLoss(words, len(rows), area_ha, loss, _of_yield(rows, loss["total"]), price))
    return tuple(sorted(found, key=lambda crop: (-crop.area_ha, crop.name)))


def _of_yield(rows: gpd.GeoDataFrame, total: Estimate) -> Estimate:
    """Loss in what grew, harvested and lost [%]; the yield, of the fields that tell it, is taken as known."""
    rows = rows[rows["yield_kg_ha"].notna()]
    if rows.empty:
        return NOTHING
    harvest = float((rows["yield_kg_ha"] * rows["area_ha"]).sum() / rows["area_ha"].sum())
    return Estimate(*(100 * end / (harvest + end) for end in (total.mean, total.low, total.high)))


def common_words(season: Season) -> Words:
    """The words for all fields together: the crop's own where there is one, by weight where there are several."""
    names = sorted(set(mapped(season)["crop"]))
    crops = [reference.crop(name) for name in names] or [next(iter(reference.crops().values()))]
    crop = crops[0] if len(names) == 1 else dataclasses.replace(crops[0], bushel_lb=None)
    return Words(crop, season.settings.report.units)


def subtitle(season: Season) -> str:
    """How many fields of what, and when this was made."""
    fields, bad = mapped(season), failed(season)
    parts = [f"{count_of(len(fields), 'field')} mapped" + (f", {len(bad):,} without a map" if len(bad) else "")]
    words = common_words(season)
    if len(fields):
        parts.append(words.area.text(float(fields["area_ha"].sum())))
        parts.append(_listed([reference.crop(name).name.replace("_", " ") for name in sorted(set(fields["crop"]))]))
    return " · ".join([*parts, f"made {words.day(season.made_on)}"])


def said_of_season(season: Season) -> str:
    """The season in one line."""
    bad = failed(season)
    parts = [f"{count_of(len(mapped(season)), 'field')} mapped" + (f", {len(bad):,} failed" if len(bad) else "")]
    parts += [f"{crop.name} loss {crop.words.loss.interval(crop.total)}" for crop in crop_losses(season)]
    tracked = [driver_word(name) for name, found in season.pooled.drivers.items() if found.verdict == "tracks"]
    parts += [f"within fields it tracks {_listed(tracked)}"] if tracked else []
    parts += [shown(_contrast_told(one), 120) for one in contrasts_shown(season.pooled.contrasts) if one.contrast.told]
    return "; ".join(parts)


def in_short(season: Season) -> list[str]:
    """What a reader should know who reads no further."""
    lines = [driver_head(found) for found in season.pooled.drivers.values() if season.pooled.fields]
    told = [one for one in contrasts_shown(season.pooled.contrasts) if one.contrast.told]
    lines += [f"{_contrast_told(one)}." for one in told]
    shown_factors = list(dict.fromkeys(FACTORS[one.contrast.factor] for one in contrasts_shown(season.pooled.contrasts)))
    if shown_factors and not told:
        lines.append(f"No {' or '.join(shown_factors)} could be told apart from the others.")
    return lines


def _contrast_told(one: ShownContrast) -> str:
    found = one.contrast
    where = "" if found.source == "total" else f" {found.source}"
    return f"{FACTORS[found.factor].capitalize()} {found.level} went with {_times(found.ratio)} the{where} loss of {one.against}"


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
    seen = f"{step.capitalize()} goes with {_times(found.effect)} the loss in an average field"
    rest = f"by the counts of {count_of(found.fields, 'field')}, each compared with itself alone"
    tail = {
        "tracks": ". This is a link, not a proof of cause",
        "no sign": ". That may well be no change: counts like these would show a moderate link 8 times in 10",
        "not enough counts": ". That may well be no change: even a moderate link would often be missed with these counts",
    }
    return f"{seen}, {rest}{tail[found.verdict]}."


def _times(ratio: Estimate) -> str:
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
    money = f", {price.told(found.share_kg_ha, words).replace('over the field', 'over all fields')}" if price is not None else ""
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
        f"For comparison only, between fields: a field cut {step.removeprefix('each ')} than another on average lost {_times(ratio)} "
        "as much. Fields differ in soil, variety, weather and who drove, so no verdict rests on this."
    )


def shared_cause() -> tuple[str, ...]:
    """What more fields do not rule out, and what does."""
    return (
        "A third cause that goes with speed or moisture inside every field makes the same picture: drier knolls that lose more for another "
        "reason lose more where it is dry, whatever dryness does. More fields make such a picture surer, not truer.",
        "In a simulation without any link, where a hidden cause had a correlation of 0.3 with dryness within each field, dryness was "
        "flagged in 1 % of the cases with one field and in 31 % with 20 fields.",
        "Only a trial tells: in one part of one field drive every other pass slower, or leave half of it to a damper hour, and count both.",
    )


def contrasts_shown(contrasts: Sequence[LevelContrast]) -> list[ShownContrast]:
    """Those that could be compared, in their order; of two levels that are each other's mirror only the one that loses more."""
    out = []
    known = [found for found in contrasts if found.ratio]
    for found in known:
        levels = [one for one in known if (one.factor, one.source) == (found.factor, found.source)]
        if len(levels) == 2:
            other = levels[1] if found is levels[0] else levels[0]
            if (found.ratio.mean, found is levels[0]) > (other.ratio.mean, other is levels[0]):
                out.append(ShownContrast(found, other.level))
        else:
            out.append(ShownContrast(found, "all others"))
    return out


def contrast_says(found: LevelContrast) -> str:
    """Whether a contrast holds, leans or says nothing."""
    if found.told:
        return "holds, all comparisons counted"
    return "a leaning only" if max(found.chance, 1 - found.chance) >= LEANS else "not told apart"


def signed(scale: Scale, estimate: Estimate) -> tuple[str, str]:
    """A difference with its unit and sign, and its interval: "+0.25 bu/ac", "+0.08 to +0.45"."""
    places = min(scale.places(end) for end in (estimate.low, estimate.high))
    mean, low, high = (_sign(end * scale.factor, places) for end in (estimate.mean, estimate.low, estimate.high))
    return f"{mean} {scale.unit}", f"{low} to {high}"


def _sign(value: float, places: int) -> str:
    text = plain(value, places)
    return text if text.startswith("-") or not text.strip("0.,") else f"+{text}"


def first_steps(season: Season) -> list[str]:
    """What the season's evidence points to, before any list of settings; nothing where it points nowhere."""
    drivers, loss = season.pooled.drivers, common_words(season).loss
    lines = []
    speed, dryness = drivers.get("speed"), drivers.get("dryness")
    if speed is not None and speed.verdict == "tracks":
        lines.append(
            f"Try the fast passes slower in one part of a field, and count both: {loss.interval(speed.share_kg_ha)} over all fields goes "
            "with driving faster than each field's own reference. Slower costs hours: a field's report weighs them once report.hour_value "
            "is set."
        )
    if dryness is not None and dryness.verdict == "tracks":
        lines.append(
            f"Plan to cut sooner: {loss.interval(dryness.share_kg_ha)} over all fields goes with grain drier than each field's own "
            "reference. lossmap rank weighs loss against drying and says which field first."
        )
    lines += [
        f"{FACTORS[one.contrast.factor].capitalize()} {one.contrast.level} against {one.against}: find out what differs before "
        "anything is bought or anyone is blamed; the fields, the days and the drivers may differ too."
        for one in contrasts_shown(season.pooled.contrasts)
        if one.contrast.told
    ]
    return lines


def cautions(season: Season) -> list[str]:
    """What to know before leaning on the page."""
    out = [sentence(note) for note in season.pooled.notes]
    crops = {str(name) for name in mapped(season)["crop"]}
    price = season.settings.report.price
    if len(crops) > 1 and price is not None:
        out.append(f"The one price given ({common_words(season).price(price)}) is taken for every crop.")
    if len(crops) > 1:
        out.append("What is said of all crops together is said by weight: bushels of different crops make no sum.")
    lone = list(dict.fromkeys(f"{FACTORS[one.factor]} {one.level}" for one in season.pooled.contrasts if not one.ratio))
    if lone:
        named = ", ".join(lone[:MOST_NAMED]) + (f" and {len(lone) - MOST_NAMED} more" if len(lone) > MOST_NAMED else "")
        out.append(f"Too few fields of a crop that others have too, so not compared: {named}.")
    if contrasts_shown(season.pooled.contrasts):
        out.append(
            "Headers, machines, operators, varieties, rows and populations are compared over whole fields that differ in more than that: a "
            "difference that holds is a difference between those fields, not yet one that the header or the person makes."
        )
    return out


def _listed(names: Sequence[str]) -> str:
    return " and ".join(", ".join(names).rsplit(", ", 1))
