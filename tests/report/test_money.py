"""What lost grain is worth."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lossmap.base import reference
from lossmap.base.errors import SettingsError
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.field import FieldMap
from lossmap.report.money import Price, as_given, money_line, money_needed, price_of, price_usd_kg
from lossmap.report.numbers import words_of
from lossmap.report.words import Words

CORN, SUNFLOWER = reference.crop("corn"), reference.crop("sunflower")


def test_without_a_price_money_is_asked_for_once(field_map: FieldMap) -> None:
    """The setting and an example; silent with a price, and where no loss is known."""
    report = field_map.settings.report.model_copy(update={"price": None})
    bare = replace(field_map, settings=field_map.settings.model_copy(update={"report": report}))
    assert money_needed(bare, words_of(bare)) == 'Money needs the price of the grain: set report.price, such as "4.20 USD/bu".'
    assert price_of(bare) is None
    assert money_needed(field_map, words_of(field_map)) == ""
    unknown = replace(bare, loss=dict.fromkeys(bare.loss, NOTHING))
    assert money_needed(unknown, words_of(bare)) == money_line(unknown, words_of(bare)) == ""


def test_money_line_needs_a_price(field_map: FieldMap) -> None:
    """By area and over the field, with intervals; nothing without a price."""
    assert money_line(field_map, words_of(field_map)) == (
        "At 4.20 USD/bu that is 7.90 USD/ac (5.89 to 10.10), or 394 USD (294 to 504) over the field."
    )
    settings = field_map.settings.model_copy(update={"report": field_map.settings.report.model_copy(update={"price": None})})
    assert money_line(replace(field_map, settings=settings), words_of(field_map)) == ""


def test_a_price_tells_loss_in_money() -> None:
    """22 kg/ha of corn at 4.20 USD/bu is 3.638 USD/ha, 1.472 USD/ac, over 20 ha 73 USD."""
    price = Price("4.20 USD/bu", price_usd_kg("4.20 USD/bu", CORN), 20.0)
    assert price.told(Estimate(22.0, 6.0, 41.0), Words(CORN, "us")) == "1.47 USD/ac (0.40 to 2.74), or 73 USD (20 to 136) over the field"
    assert price.over_field(Estimate(22.0, 6.0, 41.0), Words(CORN, "metric")) == "73 USD (20 to 136)"


def test_price_by_bushel_and_by_tonne_agree() -> None:
    """A bushel of corn is 56 lb = 25.40 kg, so 4.20 USD/bu is 165.35 USD/t."""
    assert price_usd_kg("4.20 USD/bu", CORN) == pytest.approx(4.20 / 25.4011727, rel=1e-6)
    assert price_usd_kg("165.346 USD/t", CORN) == pytest.approx(price_usd_kg("4.20 USD/bu", CORN), rel=1e-4)


def test_a_price_by_the_bushel_needs_a_bushel() -> None:
    """Sunflower is sold by weight."""
    with pytest.raises(SettingsError) as refused:
        price_usd_kg("4.20 USD/bu", SUNFLOWER)
    assert str(refused.value) == ('report.price: "USD/bu" needs a crop that is sold by the bushel; write for example "0.25 USD/lb"')


def test_a_price_without_unit_is_refused() -> None:
    """A bare number could be by the bushel or by the tonne."""
    with pytest.raises(SettingsError) as refused:
        price_usd_kg("4.20", CORN)
    assert str(refused.value) == 'report.price: "4.20" is not a number with a unit; write for example "4.20 USD/bu"'


def test_a_price_is_told_as_it_was_given() -> None:
    """Spaces aside."""
    assert as_given("  4.20   USD/bu ") == "4.20 USD/bu"
