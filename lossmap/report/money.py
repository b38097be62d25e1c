"""What lost grain is worth, where a price was given: by area, over the field, and what it takes to say so."""

from __future__ import annotations

import re
from dataclasses import dataclass

from lossmap.base.errors import SettingsError
from lossmap.base.estimates import Estimate
from lossmap.base.field import FieldMap
from lossmap.base.reference import Crop
from lossmap.base.units import grain_price
from lossmap.report.words import Words

__all__ = ["Price", "as_given", "money_line", "money_needed", "price_of", "price_usd_kg"]


@dataclass(frozen=True)
class Price:
    """What grain of a field is worth, by area and over all of it.

    Attributes
    ----------
    text : str
        As it was given: "4.20 USD/bu".
    usd_kg : float
    area_ha : float
        Of the field.
    """

    text: str
    usd_kg: float
    area_ha: float

    def by_area(self, loss_kg_ha: Estimate, words: Words) -> str:
        """ "1.47 USD/ac (0.40 to 2.74)"."""
        return words.money_per_area.interval(loss_kg_ha.times(self.usd_kg))

    def over_field(self, loss_kg_ha: Estimate, words: Words) -> str:
        """ "92 USD (25 to 171)"."""
        return words.money.interval(loss_kg_ha.times(self.usd_kg * self.area_ha))

    def told(self, loss_kg_ha: Estimate, words: Words, over: str = "the field") -> str:
        """ "1.47 USD/ac (0.40 to 2.74), or 73 USD (20 to 137) over the field"."""
        return f"{self.by_area(loss_kg_ha, words)}, or {self.over_field(loss_kg_ha, words)} over {over}"


def price_of(field_map: FieldMap) -> Price | None:
    """What the field's grain is worth; None where no price was given.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    text = field_map.settings.report.price
    return None if text is None else Price(text, price_usd_kg(text, field_map.field.crop), field_map.area_ha)


def price_usd_kg(text: str, crop: Crop) -> float:
    """A price as typed ("4.20 USD/bu", "170 USD/t") in USD/kg.

    Raises
    ------
    SettingsError
        No number with a unit of money by mass, or bushels of a crop that has none.
    """
    try:
        return grain_price(text, crop.bushel_lb)
    except SettingsError as refusal:
        example = Words(crop, "us").price_example
        raise SettingsError(f'report.price: {str(refusal).partition("; write")[0]}; write for example "{example}"') from refusal


def as_given(price: str) -> str:
    """A price as it was typed, with one space before its unit."""
    return re.sub(r"\s+", " ", price.strip())


def money_line(field_map: FieldMap, words: Words) -> str:
    """What the loss would have sold for; "" where no price was given or no loss is known."""
    price, total = price_of(field_map), field_map.loss["total"]
    return f"At {as_given(price.text)} that is {price.told(total, words)}." if price is not None and total else ""


def money_needed(field_map: FieldMap, words: Words) -> str:
    """What it takes to speak of money; "" where a price was given or no loss is known."""
    if field_map.settings.report.price is not None or not field_map.loss["total"]:
        return ""
    return f'Money needs the price of the grain: set report.price, such as "{words.price_example}".'
