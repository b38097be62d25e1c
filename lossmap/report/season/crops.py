"""What was left of each crop over a season's fields: bushels of corn and of soybeans make no sum."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.season import Season
from lossmap.report.money import Price, as_given, price_usd_kg
from lossmap.report.words import Words, count_of

__all__ = ["CropLoss", "common_words", "crop_losses", "failed", "mapped"]


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
            parts.append(f"{self.price.over_field(self.total, words)} at {as_given(self.price.text)}")
        return f"over {count_of(self.fields, 'field')} and {words.area.text(self.area_ha)}: {', '.join(parts)}"


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
