"""A season in plain words."""

from __future__ import annotations

import dataclasses
import re

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.season import LevelContrast
from lossmap.report.season.crops import common_words, crop_losses, failed, mapped
from lossmap.report.season.drivers import driver_head, driver_lines
from lossmap.report.season.words import cautions, contrast_says, contrasts_shown, first_steps, in_short, said_of_season, signed, subtitle
from report.made_seasons import made_season, with_driver

CORN = made_season(14, 0, ("corn",))


def pooled_with(season, **values):
    """The season with something else said of all fields."""
    return dataclasses.replace(season, pooled=dataclasses.replace(season.pooled, **values))


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
