"""A season in plain words: what it comes to, which headers and people differ, what to change, and what to beware of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lossmap.base import reference
from lossmap.base.errors import shown
from lossmap.base.estimates import Estimate
from lossmap.base.season import LevelContrast, Season
from lossmap.base.tables import FACTORS
from lossmap.report.money import as_given
from lossmap.report.season.crops import common_words, crop_losses, failed, mapped
from lossmap.report.season.drivers import driver_head, times_of
from lossmap.report.sentences import driver_word
from lossmap.report.words import Scale, count_of, day_of, plain, sentence

__all__ = [
    "ShownContrast",
    "cautions",
    "contrast_says",
    "contrasts_shown",
    "first_steps",
    "in_short",
    "said_of_season",
    "signed",
    "subtitle",
]

#: A contrast that is not told leans one way from this chance on.
LEANS = 0.9
#: Levels that could not be compared are named up to this many.
MOST_NAMED = 8


@dataclass(frozen=True)
class ShownContrast:
    """A contrast as it is shown: `against` is the one other level, or "all others"."""

    contrast: LevelContrast
    against: str


def subtitle(season: Season) -> str:
    """How many fields of what, and when this was made."""
    fields, bad = mapped(season), failed(season)
    parts = [f"{count_of(len(fields), 'field')} mapped" + (f", {len(bad):,} without a map" if len(bad) else "")]
    words = common_words(season)
    if len(fields):
        parts.append(words.area.text(float(fields["area_ha"].sum())))
        parts.append(_listed([reference.crop(name).name.replace("_", " ") for name in sorted(set(fields["crop"]))]))
    return " · ".join([*parts, f"made {day_of(season.made_on)}"])


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
    return f"{FACTORS[found.factor].capitalize()} {found.level} went with {times_of(found.ratio)} the{where} loss of {one.against}"


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
        out.append(f"The one price given ({as_given(price)}) is taken for every crop.")
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
