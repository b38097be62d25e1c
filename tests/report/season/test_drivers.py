"""What speed and dryness go with inside the fields of a season, in words."""

from __future__ import annotations

import dataclasses
import re

import pytest

from lossmap.base.estimates import NOTHING
from lossmap.report.season.crops import common_words, crop_losses
from lossmap.report.season.drivers import between_line, driver_head, driver_lines, shared_cause
from report.made_seasons import made_season, nothing_of, tracking

CORN = made_season(14, 0, ("corn",))


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


def test_a_shared_cause_is_warned_of_with_its_figures(root):
    """The figures are those that our own simulation printed, and said to be a simulation's."""
    text = " ".join(shared_cause())
    assert "In a simulation" in text
    evidence = (root / "shared" / "expected" / "evidence.md").read_text(encoding="utf-8")
    row = next(line for line in evidence.splitlines() if "hidden cause that goes with speed" in line)
    found = [f"{100 * float(share):.0f} %" for share in re.findall(r"fields? \**(0\.\d+)", row)]
    assert len(found) == 3
    assert re.findall(r"\d+ %", text) == found
