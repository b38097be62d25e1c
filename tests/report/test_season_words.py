"""A season in plain words."""

from __future__ import annotations

import dataclasses
import re

import pytest
from report.made_seasons import made_season, nothing_of, tracking, with_driver, with_field

from lossmap.base.errors import SettingsError
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.season import LevelContrast
from lossmap.report.season_words import (
    between_line,
    cautions,
    common_words,
    contrast_says,
    contrasts_shown,
    crop_losses,
    driver_head,
    driver_lines,
    failed,
    first_steps,
    in_short,
    mapped,
    said_of_season,
    shared_cause,
    signed,
    subtitle,
)

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


def test_without_a_table_of_crops_the_season_stands_for_its_one_crop():
    """The mean over all fields is the crop's where there is but one; with two nothing is made up."""
    assert crop_losses(pooled_with(CORN, by_crop={}))[0].total == CORN.pooled.loss["total"]
    assert crop_losses(pooled_with(made_season(), by_crop={})) == ()


def test_crops_are_never_summed_in_bushels():
    """Two crops are two losses, each in its own bushel; what is said of both is said by weight."""
    season = made_season()
    assert [(crop.name, crop.fields) for crop in crop_losses(season)] == [("soybean", 7), ("corn", 7)]
    assert common_words(season).loss.unit == "lb/ac"
    assert common_words(CORN).loss.unit == "bu/ac"
    assert "lb/ac" in " ".join(driver_lines(season.pooled.drivers["speed"], common_words(season)))
    assert any("bushels of different crops make no sum" in line for line in cautions(season))
    assert any("The one price given (4.20 USD/bu) is taken for every crop" in line for line in cautions(season))
    assert not any("price" in line or "bushels" in line for line in cautions(CORN))


def test_metric_speaks_of_hectares():
    """No acre, bushel or mile is left."""
    season = made_season(14, 1, ("corn",), units="metric", price="170 USD/t")
    said = " ".join([subtitle(season), said_of_season(season), crop_losses(season)[0].more, *first_steps(season), *in_short(season)])
    said += " ".join(driver_lines(season.pooled.drivers["speed"], common_words(season), crop_losses(season)[0].price))
    assert not re.search(r"\b(bu|ac|mph|lb)\b", said)
    assert "kg/ha" in said
    assert "km/h" in said


def test_a_price_of_another_kind_is_refused():
    """Bushels of a crop that has none."""
    with pytest.raises(SettingsError, match="report.price"):
        crop_losses(made_season(3, 0, ("corn",), price="4.20 USD/mile"))


def test_subtitle_and_line_count_what_failed():
    """Mapped and failed, ground, crops, day; one line, whatever a level is called."""
    season = made_season()
    assert subtitle(season).startswith("14 fields mapped, 2 without a map · 1,297 ac · corn and soybean · made 20 Nov 2025")
    assert said_of_season(season).startswith("14 fields mapped, 2 failed; soybean loss 1.1 bu/ac (0.9 to 1.2); corn loss ")
    assert "within fields it tracks ground speed" in said_of_season(season)
    assert said_of_season(made_season(0, 2)) == "0 fields mapped, 2 failed"
    assert len(mapped(season)) + len(failed(season)) == 16
    evil = dataclasses.replace(season.pooled.contrasts[0], level="a\nb\x1b[31m" + "x" * 400)
    line = said_of_season(pooled_with(season, contrasts=(evil, *season.pooled.contrasts[2:])))
    assert line.isprintable()
    assert len(line) < 400


@pytest.mark.parametrize(
    ("verdict", "head", "said"),
    [
        ("tracks", "Within the fields, loss tracks ground speed.", "This is a link, not a proof of cause."),
        (
            "no sign",
            "Within the fields, no sign that loss tracks ground speed.",
            "counts like these would show a moderate link 8 times in 10",
        ),
        (
            "not enough counts",
            "Not enough counts to say whether loss tracks ground speed within the fields.",
            "a moderate link would often be missed",
        ),
    ],
)
def test_every_verdict_has_its_words(verdict, head, said):
    """Head and what it means; only a link that holds is told with its share, its hidden cause and whom it helps."""
    found = dataclasses.replace(CORN.pooled.drivers["speed"], verdict=verdict)
    lines = driver_lines(found, common_words(CORN))
    assert driver_head(found) == head
    assert lines[0].startswith("Each 1.1 mph faster goes with 1.32 times (1.16 to 1.49, 9 times in 10) the loss in an average field, by")
    assert said in lines[0]
    assert "each compared with itself alone" in lines[0]
    assert ("correlation of 0.42 or more (0.24 to 0.55)" in " ".join(lines)) == (verdict == "tracks")
    assert ("goes with speeds above each field's own reference" in " ".join(lines)) == (verdict == "tracks")
    assert not re.search(r"\bcause[sd] (?:the|by)\b", " ".join(lines))


def test_agreement_and_spread_are_told():
    """How many lean the same way, and the step's effect one standard deviation either side."""
    lines = driver_lines(CORN.pooled.drivers["speed"], common_words(CORN))
    # exp(0.5 (0.55 -+ 0.15))
    assert lines[1] == (
        "By its own counts alone, the link leans that way in 12 of 14 fields. Fields differ: in about two of three, "
        "each 1.1 mph faster goes with 1.22 to 1.42 times the loss."
    )
    assert lines[-1] == "Of 5 fields its own counts and the season's together say the same."


def test_money_of_a_driver_is_told_where_one_price_holds():
    """By area and over all fields."""
    price = crop_losses(CORN)[0].price
    shares = [line for line in driver_lines(CORN.pooled.drivers["speed"], common_words(CORN), price) if "reference" in line]
    assert re.search(r"USD/ac \(.*\), or [\d,]+ USD \(.*\) over all fields\.$", shares[0])


def test_dryness_is_told_as_points_drier():
    """The other driver's step and reference."""
    found = dataclasses.replace(tracking(CORN.fields["field_id"]), name="dryness", effect_step="-2 points")
    lines = driver_lines(found, common_words(CORN))
    assert lines[0].startswith("Each 2 points drier goes with ")
    assert "goes with grain drier than each field's own reference" in lines[2]


def test_between_fields_is_a_comparison_only():
    """Said beside, as nothing that a verdict rests on; silent where unknown."""
    line = between_line(CORN.pooled.drivers["speed"], common_words(CORN))
    # exp(0.9 / 2)
    assert line.startswith(
        "For comparison only, between fields: a field cut 1.1 mph faster than another on average lost 1.57 times (0.82 to 2.86"
    )
    assert line.endswith("so no verdict rests on this.")
    assert between_line(dataclasses.replace(CORN.pooled.drivers["speed"], between_fields=NOTHING), common_words(CORN)) == ""


def test_nothing_known_of_a_driver_says_why():
    """Its note and no number; the note ends once."""
    assert driver_lines(nothing_of("speed"), common_words(CORN)) == ["No field has counts at two speeds."]
    alone = dataclasses.replace(CORN.pooled.drivers["speed"], note="One field alone: this is its own counts' word.")
    assert driver_lines(alone, common_words(CORN))[0] == "One field alone: this is its own counts' word."


def test_a_shared_cause_is_warned_of_with_its_figures():
    """The prototype's figures, said to be a simulation's."""
    text = " ".join(shared_cause())
    assert "In a simulation" in text
    assert "1 % of the cases with one field and in 31 % with 20 fields" in text
    assert "surer, not truer" in text


def test_of_two_levels_one_row_is_shown():
    """The one that loses more, against the other by name; of three each against all others; none that could not be compared."""
    shown = contrasts_shown(CORN.pooled.contrasts)
    assert [(one.contrast.level, one.against) for one in shown] == [
        ("auger", "draper"),
        ("C", "all others"),
        ("A", "all others"),
        ("B", "all others"),
    ]
    lone = LevelContrast("variety", "V1", "total", 1, 1, NOTHING, NOTHING, float("nan"), False)
    assert contrasts_shown((lone, dataclasses.replace(lone, level="V2"))) == []
    season = pooled_with(CORN, contrasts=(lone, dataclasses.replace(lone, level="V2")))
    assert any("not compared: variety V1, variety V2." in line for line in cautions(season))
    assert in_short(season) == in_short(pooled_with(CORN, contrasts=()))


def test_what_a_contrast_says():
    """Holds with all counted, leans, or neither, by its chance on either side."""
    told, leaning = CORN.pooled.contrasts[0], CORN.pooled.contrasts[2]
    assert contrast_says(told) == "holds, all comparisons counted"
    assert contrast_says(leaning) == contrast_says(dataclasses.replace(leaning, chance=0.05)) == "a leaning only"
    assert contrast_says(dataclasses.replace(leaning, chance=0.6)) == "not told apart"


def test_differences_carry_their_sign():
    """Plus and minus, unit once, no sign before nothing."""
    scale = common_words(CORN).loss
    assert signed(scale, Estimate(16.0, 5.0, 28.0)) == ("+0.25 bu/ac", "+0.08 to +0.45")
    assert signed(scale, Estimate(-16.0, -28.0, 0.0)) == ("-0.25 bu/ac", "-0.45 to 0.00")


def test_in_short_names_drivers_and_what_holds():
    """A verdict for each driver, then what holds; where nothing holds that is said."""
    lines = in_short(CORN)
    assert lines[:2] == [driver_head(found) for found in CORN.pooled.drivers.values()]
    assert lines[2] == "Header auger went with 1.45 times (1.12 to 1.90, 9 times in 10) the header loss of draper."
    quiet = pooled_with(CORN, contrasts=tuple(dataclasses.replace(one, told=False) for one in CORN.pooled.contrasts))
    assert in_short(quiet)[2:] == ["No header or operator could be told apart from the others."]
    assert in_short(made_season(0, 2)) == []


def test_first_steps_follow_the_evidence_alone():
    """Speed that tracks, dryness that tracks, levels that hold; nothing otherwise."""
    assert [line.split(":")[0] for line in first_steps(CORN)] == [
        "Try the fast passes slower in one part of a field, and count both",
        "Header auger against draper",
    ]
    dry = with_driver(CORN, "dryness", verdict="tracks")
    assert any(line.startswith("Plan to cut sooner: ") for line in first_steps(dry))
    quiet = with_driver(pooled_with(CORN, contrasts=()), "speed", verdict="no sign")
    assert first_steps(quiet) == []


def test_a_field_whose_loss_is_not_known_is_in_no_mean():
    """Its crop's count and ground leave it out."""
    season = with_field(CORN, 0, total_kg_ha=float("nan"))
    (crop,) = crop_losses(season)
    assert crop.fields == 13
    assert crop.area_ha == pytest.approx(float(CORN.fields["area_ha"].iloc[1:].sum()))
