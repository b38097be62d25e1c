"""Rows of a season's tables."""

from __future__ import annotations

import dataclasses
import math
from urllib.parse import unquote, urljoin, urlsplit

import numpy as np
import pytest

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.report.season.rows import MOST_LEVELS, Axis, by_grain_left, contrast_rows, field_rows, link_to
from lossmap.report.season.words import contrasts_shown
from report.made_seasons import made_season, with_field

SEASON = made_season()


def test_the_field_with_most_grain_left_is_first():
    """By weight over the whole field; a loss that is not known comes last, failed fields not at all."""
    fields = by_grain_left(with_field(SEASON, 3, total_kg_ha=np.nan))
    left = (fields["total_kg_ha"] * fields["area_ha"]).to_numpy()
    assert (np.diff(left[:-1]) <= 0).all()
    assert math.isnan(left[-1])
    assert len(fields) == 14
    assert (fields["error"] == "").all()


def test_a_row_holds_the_fields_numbers():
    """Truth: 80 kg/ha of corn on 10 ha are 1.27 bu/ac, 31.5 bu, 132 USD; percent and money share the loss's doubt."""
    ours = {
        "total_kg_ha": 80.0,
        "total_low_kg_ha": 40.0,
        "total_high_kg_ha": 120.0,
        "area_ha": 10.0,
        "total_pct": 0.8,
        "loss_usd": 132.3,
        "speed_verdict": "tracks",
        "speed_rests_on": "season",
        "dryness_verdict": "no sign",
        "dryness_rests_on": "own counts",
    }
    season = with_field(SEASON, 0, **ours)
    (row,) = field_rows(season.fields.iloc[:1], season)
    assert row["loss"] == ("1.3 bu/ac", "0.6 to 1.9")
    assert row["grain"] == ("31 bu", "16 to 47")
    assert row["share"] == ("0.8 %", "0.4 to 1.2")
    most = field_rows(with_field(season, 0, total_pct=50.0).fields.iloc[:1], season)[0]["share"]
    assert most == ("50 %", "33 to 60"), "as much lost as harvested: 40 of 120, 120 of 200"
    assert row["money"] == ("132 USD", "66 to 198")
    assert row["area"] == "24.7 ac"
    assert row["verdicts"] == [("ground speed", "yes, with the season's counts"), ("dryness", "no sign")]
    own = with_field(season, 0, speed_rests_on="own counts")
    assert field_rows(own.fields.iloc[:1], own)[0]["verdicts"][0][1] == "yes, by its own counts"


def test_what_is_not_known_is_said():
    """No loss, no price."""
    season = with_field(
        made_season(3, 0, ("corn",)), 0, total_kg_ha=np.nan, total_low_kg_ha=np.nan, total_high_kg_ha=np.nan, loss_usd=np.nan
    )
    (row,) = field_rows(season.fields.iloc[:1], season)
    assert row["loss"] == row["grain"] == row["share"] == row["money"] == ("not known", "")
    free = dataclasses.replace(season, settings=type(season.settings)())
    assert field_rows(free.fields.iloc[:1], free)[0]["money"] is None


@pytest.mark.parametrize(
    "field_id",
    ["creek", "north/creek", "a b#c?d%20e", "javascript:alert(1)", "//host/x", "../../etc", "C:\\x", "quo\"te's", "Mühle", "<b>", "./.."],
)
def test_a_link_leads_into_the_seasons_folder(field_id):
    """Whatever a folder is called: no other scheme, no other host, not out of the folder, and back to the same name."""
    link = link_to(field_id, "map.html")
    target = urlsplit(urljoin("file:///out/season/season.html", link))
    assert target.scheme == "file"
    assert target.netloc == ""
    assert target.query == target.fragment == ""
    assert target.path.startswith("/out/season/")
    assert target.path.endswith("/map.html")
    wanted = [part for part in field_id.split("/") if part not in ("", ".", "..")]
    assert [unquote(part) for part in target.path.removeprefix("/out/season/").split("/")[:-1]] == wanted
    assert not set(link) & set("<>\"' :\\")


def test_half_and_double_lie_equally_far_from_even():
    """The axis is logarithmic, holds every end, and never runs out of its drawing."""
    axis = Axis([Estimate(1.5, 0.5, 2.0)])
    assert axis.at(1.0) == 120
    assert axis.at(2.0) - 120 == pytest.approx(120 - axis.at(0.5), abs=0.11)
    assert axis.at(2.0) == pytest.approx(234)
    assert axis.at(1e9) == axis.at(8.0) if axis.most >= math.log(8) else axis.at(2.0)
    assert axis.at(0.0) == 6
    for high in (1.05, 1.3, 1.9, 3.0, 7.0, 1e20):
        ticks = Axis([Estimate(1.0, 1 / high, high)]).ticks()
        assert "1" in [text for text, _ in ticks]
        assert all(6 <= at <= 234 for _, at in ticks)
        assert len(ticks) >= 3
        assert np.diff([at for _, at in ticks]).min() > 20


def test_a_factor_is_a_table():
    """Rows with their bar, ratio, worth and what it says; levels beyond the most are counted."""
    tables = contrast_rows(contrasts_shown(SEASON.pooled.contrasts), SEASON)
    assert [(table["factor"], len(table["rows"]), table["more"]) for table in tables] == [("header", 1, 0), ("operator", 3, 0)]
    row = tables[0]["rows"][0]
    assert (row["level"], row["against"], row["source"], row["fields"]) == ("auger", "draper", "header loss", "7 against 7")
    assert row["ratio"] == ("1.45", "1.12 to 1.90")
    assert row["bar"][0] < row["bar"][1] < row["bar"][2]
    assert row["bar"][0] > 120
    assert row["told"]
    many = tuple(dataclasses.replace(SEASON.pooled.contrasts[2], level=f"L{number}") for number in range(20))
    (table,) = contrast_rows(contrasts_shown(many), SEASON)
    assert (len(table["rows"]), table["more"]) == (MOST_LEVELS, 20 - MOST_LEVELS)
    unworthy = (dataclasses.replace(SEASON.pooled.contrasts[2], worth_kg_ha=NOTHING), *SEASON.pooled.contrasts[3:])
    assert contrast_rows(contrasts_shown(unworthy), SEASON)[0]["rows"][0]["worth"] == ("not known", "")
