"""Seed lost at harvest: advice, usual loss and cautions for every crop, none with the rule of another."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from lossmap.base.errors import NoReference
from lossmap.base.reference import advice, cautions, counting, crops, reel_range, usual_loss, usual_share
from lossmap.base.reference.rows import rows_of
from lossmap.base.tables import POSITIONS
from lossmap.base.units import factor

TWICE = re.compile(r"\{([^{}|]+)\|([^{}|]+)\}")


IN_UNITS = re.compile(r"(\d[\d,./]*(?: to [\d,./]+)?) ((?:plants/)?(?:in|ft|mph|ac|lb|bu|mm|cm|m|km/h|ha|kg|t))\b")


def _numbers(quantity: str) -> tuple[list[float], str]:
    """ "1/32 in" is [0.03125], "in"."""
    found = IN_UNITS.fullmatch(quantity)
    assert found, quantity
    return [float(Fraction(number.replace(",", ""))) for number in found[1].split(" to ")], found[2].replace("plants", "seeds")


def test_quantities_stand_in_both_systems_and_agree() -> None:
    """What advice gives in the units of the trade it gives in metric ones too, the same but for rounding; nothing stands in one alone."""
    texts = [row[column] for row in rows_of("advice.csv") for column in ("look_at", "but")]
    pairs = [pair for text in texts for pair in TWICE.findall(text)]
    assert len(pairs) == 5
    for trade, metric in pairs:
        (typed, unit), (shown, to) = _numbers(trade), _numbers(metric)
        assert to in ("mm", "cm", "km/h", "seeds/ha")
        assert shown == pytest.approx([number * factor(unit, to) for number in typed], rel=0.05)
    for text in [*texts, *(row["text"] for row in rows_of("cautions.csv"))]:
        assert not IN_UNITS.search(TWICE.sub("", text)), text


@pytest.mark.parametrize("name", crops())
@pytest.mark.parametrize("source", ["preharvest", "header", "threshing"])
def test_advice_for_every_crop_and_source(name: str, source: str) -> None:
    """There is something to look at, in order, and what only next season can change comes last."""
    rows = advice(source, name)
    assert rows
    assert [row.order for row in rows] == sorted(row.order for row in rows)
    assert {row.when for row in rows} <= {"now", "next season"}
    later = [row.when == "next season" for row in rows]
    assert later == sorted(later)


@pytest.mark.parametrize("name", crops())
@pytest.mark.parametrize("tracked", ["speed", "dryness"])
def test_what_answers_a_tracked_driver_comes_first(name: str, tracked: str) -> None:
    """Slowing down first where loss tracks speed, cutting earlier where it tracks dryness; the same rows, next season still last."""
    for source in ("preharvest", "header", "threshing"):
        plain, lifted = advice(source, name), advice(source, name, [tracked])
        assert set(plain) == set(lifted)
        now = [row.first_if == tracked for row in lifted if row.when == "now"]
        assert now == sorted(now, reverse=True)
        assert [row.when == "next season" for row in lifted] == sorted(row.when == "next season" for row in lifted)
    assert any(row.first_if == tracked for source in ("header", "threshing", "preharvest") for row in advice(source, name, [tracked]))


def test_slowing_down_leads_the_list_where_loss_tracks_speed() -> None:
    """Soybean at the header by hand: slow down for speed, the damper hour for dryness."""
    assert advice("header", "soybean", ["speed"])[0].look_at.startswith("Slow down")
    assert "morning" in advice("header", "soybean", ["dryness"])[0].look_at


# Sources that speak of one crop only (facts by title): nobody else is given their rules.
OF_ONE_CROP = {
    "soybean": {"MU1280", "MICH", "SEFP", "REEL", "WIEB", "CLEM", "NCSU", "MSU12", "ARS73"},
    "corn": {"MU1290", "OSUT", "OSUD", "BOLL", "PUR", "PUR22", "QUICK", "HANNA", "BROD"},
    "canola": {"CAV", "CCC"},
    "sunflower": {"SUN03", "NDSF"},
    "rice": {"RICE92"},
    "wheat": {"KS95"},
}


def test_no_crop_is_given_the_rule_of_another() -> None:
    """A soybean source stands in rows of soybean alone, and so on; only where to look, which is no rule, names corn for all."""
    for row in rows_of("advice.csv"):
        if row["look_at"].startswith("Look where the seed lies first"):
            continue
        for name, keys in OF_ONE_CROP.items():
            if keys & set(row["key"].split()):
                assert row["crops"].split() == [name], row["look_at"]


def test_each_row_has_known_crops_sources_and_drivers() -> None:
    """No row for a crop, a source of loss or a driver that there is not; no row twice for one crop at one place."""
    for row in rows_of("advice.csv"):
        assert row["crops"] == "*" or set(row["crops"].split()) <= set(crops())
        assert row["source"] in ("preharvest", "header", "threshing")
        assert row["first_if"] in ("", "speed", "dryness")
    for name in crops():
        for source in ("preharvest", "header", "threshing"):
            places = [row.order for row in advice(source, name)]
            assert len(set(places)) == len(places), (name, source)


def test_reel_ranges_are_for_crops_whose_sources_give_one() -> None:
    """Soybean alone, as its advice says in words; corn has no reel; a range is in order and each figure has a key."""
    found = reel_range("soybean")
    assert found is not None
    assert 1 < found.low < found.high < found.also
    assert found.low_keys and found.high_keys and found.also_keys
    assert any(f"{found.low:g} to {found.high:g} times" in row.look_at for row in advice("header", "soybean"))
    assert reel_range("corn") is reel_range("wheat") is None


def test_usual_loss_is_a_range_with_a_source() -> None:
    """Known crops, one unit a crop, ends in order; a crop that no source speaks of has none."""
    assert {row["crop"] for row in rows_of("usual_loss.csv")} <= set(crops())
    for name in crops():
        rows = usual_loss(name)
        assert len({row.unit for row in rows}) <= 1
        for row in rows:
            assert row.keys
            assert row.low is None or 0 < row.low <= row.high
    assert [(row.called, row.low, row.high) for row in usual_loss("soybean")] == [("attainable", 3, 5), ("usual", 6, 10)]
    assert usual_loss("rice") == ()


@pytest.mark.parametrize("where", ["count", "adjust", "fire"])
def test_cautions_stand_where_work_can_hurt(where: str) -> None:
    """There is a caution wherever people count, adjust or meet fire; counting needs shut-down, key and header lock."""
    said = " ".join(caution.text for caution in cautions(where))
    assert said
    if where == "count":
        assert all(word in said for word in ("engine off", "key out", "mechanical lock", "machine running"))


def test_usual_shares_are_a_whole():
    """The shares of the three sources add to 1, and an unknown source is refused with the known ones."""
    assert sum(usual_share(source) for source in ("preharvest", "header", "threshing")) == pytest.approx(1.0)
    with pytest.raises(NoReference, match='"leak" is no source of loss'):
        usual_share("leak")


@pytest.mark.parametrize("name", crops())
def test_how_to_count_is_told_for_every_crop(name: str) -> None:
    """Each position and all of them together have a sentence; the crops that a row names are crops."""
    for position in (*POSITIONS, "all"):
        assert counting(position, name)
    assert {crop for row in rows_of("counting.csv") for crop in row["crops"].split()} <= {"*", *crops()}


def test_how_to_count_follows_the_crop() -> None:
    """Ears for corn, pods for soybean, neither for wheat."""
    assert [
        sum(word in " ".join(counting("all", name)) for name in ("corn", "soybean", "wheat"))
        for word in ("Whole ears", "in pods on the stubble")
    ] == [1, 1]
    assert not any("Whole ears" in text for text in counting("all", "soybean"))
