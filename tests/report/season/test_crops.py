"""What was left of each crop over a season."""

from __future__ import annotations

import dataclasses
import re

import pytest

from lossmap.base.errors import SettingsError
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.report.season.crops import crop_losses
from report.made_seasons import made_season, with_field

CORN = made_season(14, 0, ("corn",))


def pooled_with(season, **values):
    """The season with something else said of all fields."""
    return dataclasses.replace(season, pooled=dataclasses.replace(season.pooled, **values))


def test_one_crop_is_told_in_its_bushels_in_percent_and_in_money():
    """Truth: 100 kg/ha of corn is 1.59 bu/ac; sums are that times the ground, at the price."""
    season = pooled_with(CORN, by_crop={"corn": {"total": Estimate(100.0, 80.0, 125.0)}})
    (crop,) = crop_losses(season)
    area_ac = float(season.fields["area_ha"].sum()) * 2.4710538
    assert crop.words.loss.interval(crop.total) == "1.6 bu/ac (1.3 to 2.0)"
    assert crop.share_pct.mean == pytest.approx(100 * 100 / 11_100)
    assert crop.share_pct.low == pytest.approx(100 * 80 / 11_080)
    assert crop.fields == 14
    assert f"over 14 fields and {area_ac:,.0f} ac: 0.9 % (0.7 to 1.1) of the total yield, " in crop.more
    bushels, usd = re.findall(r"([\d,]+) (?:bu|USD)", crop.more)[:2]
    assert float(bushels.replace(",", "")) == pytest.approx(area_ac * 1.593, rel=2e-3)
    assert float(usd.replace(",", "")) == pytest.approx(area_ac * 1.593 * 4.2, rel=2e-3)
    assert crop.more.endswith("at 4.20 USD/bu")


def test_the_share_of_the_yield_is_of_fields_that_tell_it():
    """A field without a yield changes nothing; with none there is no share."""
    told = crop_losses(with_field(CORN, 0, yield_kg_ha=float("nan")))[0]
    assert told.share_pct.mean == pytest.approx(crop_losses(CORN)[0].share_pct.mean)
    season = CORN
    for number in range(14):
        season = with_field(season, number, yield_kg_ha=float("nan"))
    assert crop_losses(season)[0].share_pct == NOTHING
    assert "%" not in crop_losses(season)[0].more


def test_without_a_table_of_crops_the_season_stands_for_its_one_crop():
    """The mean over all fields is the crop's where there is but one; with two nothing is made up."""
    assert crop_losses(pooled_with(CORN, by_crop={}))[0].total == CORN.pooled.loss["total"]
    assert crop_losses(pooled_with(made_season(), by_crop={})) == ()


def test_a_price_of_another_kind_is_refused():
    """Bushels of a crop that has none."""
    with pytest.raises(SettingsError, match="report.price"):
        crop_losses(made_season(3, 0, ("corn",), price="4.20 USD/mile"))


def test_a_field_whose_loss_is_not_known_is_in_no_mean():
    """Its crop's count and ground leave it out."""
    season = with_field(CORN, 0, total_kg_ha=float("nan"))
    (crop,) = crop_losses(season)
    assert crop.fields == 13
    assert crop.area_ha == pytest.approx(float(CORN.fields["area_ha"].iloc[1:].sum()))
