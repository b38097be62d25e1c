"""What is claimed, and that no more is."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Delay, Driver, Estimate
from lossmap.report.money import Price, price_usd_kg
from lossmap.report.sentences import after_largest, delay, driver, largest_sources, zone
from lossmap.report.words import Words

WORDS = Words(reference.crop("corn"), "us")
TRACKS = Driver("speed", "tracks", Estimate(1.49, 1.12, 1.98), "+0.5 m/s", 0.991, 1.8, 12, 9, Estimate(22.0, 6.0, 41.0))


def test_tracks_says_how_much_with_doubt_and_denies_cause() -> None:
    """Effect, its interval, where it acts, the share of loss, and that it is a link."""
    assert driver(TRACKS, WORDS) == (
        "Loss tracks ground speed.",
        "Above 4.0 mph, each 1.1 mph faster goes with 1.49 times the loss (1.12 to 1.98, 9 times in 10), seen at 12 stops. "
        "Over the whole field 0.35 bu/ac (0.10 to 0.65) goes with speeds above 4.0 mph. This is a link, not a proof of cause.",
    )


PRICE = Price("4.20 USD/bu", price_usd_kg("4.20 USD/bu", WORDS.crop), 20.0)


def test_a_share_is_told_in_money_where_there_is_a_price() -> None:
    """By acre and over the field, each with its interval."""
    assert (
        "Over the whole field 0.35 bu/ac (0.10 to 0.65) goes with speeds above 4.0 mph: "
        "1.47 USD/ac (0.40 to 2.74), or 73 USD (20 to 136) over the field."
    ) in driver(TRACKS, WORDS, PRICE)[1]
    assert "USD" not in " ".join(driver(TRACKS, WORDS))


def test_dryness_is_told_downwards() -> None:
    """Dryness is moisture below a reference."""
    found = Driver("dryness", "tracks", Estimate(1.65, 1.1, 2.5), "-2 points", 0.99, 13.0, 24, 20, Estimate(9.0, 1.0, 20.0))
    head, text = driver(found, WORDS)
    assert head == "Loss tracks dryness."
    assert text.startswith("Below 13.0 % moisture, each 2 points drier goes with 1.65 times the loss")


def test_no_sign_needs_enough_counts_and_says_so() -> None:
    """'No sign' is a finding of a field that could have shown a link."""
    found = replace(TRACKS, verdict="no sign", effect=Estimate(0.98, 0.85, 1.1), stops=96, share_kg_ha=NOTHING)
    assert driver(found, WORDS) == (
        "No sign that loss tracks ground speed.",
        "96 stops were enough to show a moderate link, and none showed (each 1.1 mph faster goes with 0.98 times the loss "
        "(0.85 to 1.10, 9 times in 10), which may well be no change).",
    )


def test_not_enough_counts_says_how_many_would_be() -> None:
    """The reader is told what it would take."""
    found = replace(TRACKS, verdict="not enough counts", stops_needed=75)
    assert driver(found, WORDS) == (
        "Not enough counts to say whether loss tracks ground speed.",
        "With 12 stops even a moderate link would often be missed; about 75 stops like these would be needed.",
    )


def test_nothing_at_all_is_told_with_its_note() -> None:
    """A field without a speed layer says why nothing can be said."""
    found = Driver("speed", "not enough counts", NOTHING, "+0.5 m/s", math.nan, math.nan, 0, None, NOTHING, "the log has no speed")
    assert driver(found, WORDS)[1] == "The log has no speed."


@pytest.mark.parametrize("verdict", ["tracks", "no sign", "not enough counts"])
def test_no_verdict_claims_a_cause(verdict: str) -> None:
    """Loss tracks; it is never caused."""
    text = " ".join(driver(replace(TRACKS, verdict=verdict), WORDS)).lower()
    assert "caused" not in text
    assert "because" not in text


def test_a_zone_in_one_plain_sentence() -> None:
    """Speed there, loss and excess with intervals, and the chance."""
    numbers = {"loss_kg_ha": 171.0, "loss_low_kg_ha": 120.0, "loss_high_kg_ha": 230.0, "excess_kg_ha": 62.0}
    numbers |= {"excess_low_kg_ha": 21.0, "excess_high_kg_ha": 110.0, "chance_pct": 96.0}
    assert zone("speed", numbers, 2.4587, WORDS) == (
        "Cut at 5.5 mph on average. Loss 2.7 bu/ac (1.9 to 3.7), of which 0.99 bu/ac (0.33 to 1.75) above what the same place "
        "would lose at the reference speed; chance that it loses more: 96 %."
    )
    assert zone("dryness", numbers, math.nan, WORDS).startswith("Loss 2.7 bu/ac")


def test_the_largest_source_stands_alone_only_when_it_is_surely_larger() -> None:
    """Overlap makes a toss-up; a source nobody could separate is left out."""
    clear = {"preharvest": Estimate(10, 5, 15), "header": Estimate(70, 50, 90), "threshing": Estimate(30, 20, 50)}
    assert largest_sources(clear) == ("header",)
    assert largest_sources(clear | {"threshing": Estimate(60, 30, 95)}) == ("header", "threshing")
    assert largest_sources({"preharvest": NOTHING, "header": NOTHING, "threshing": NOTHING}) == ()
    assert "toss-up" in after_largest(("header", "threshing"))
    assert "do not separate" in after_largest(())


def test_a_delay_says_how_late_how_sure_and_what_was_done() -> None:
    """Moved, not moved, and early: interval and reason with each."""
    moved = Delay(11.04, 9.2, 12.84, True, "neighbouring passes agree 85 % better at 11.0 s: moved")
    assert delay("moisture", moved, WORDS) == (
        "Moisture was read 11.0 s late (9.2 to 12.8 s, 9 times in 10) and was moved by that. "
        "Neighbouring passes agree 85 % better at 11.0 s: moved."
    )
    assert delay("flow", Delay(0.4, -0.6, 1.4, False, ""), WORDS) == (
        "At best guess grain flow was read 0.4 s late (0.6 s early to 1.4 s late, 9 times in 10); it was not moved."
    )
    assert delay("flow", Delay(-5.0, -6.5, -3.5, True, ""), WORDS) == (
        "Grain flow was read 5.0 s early (3.5 to 6.5 s, 9 times in 10) and was moved by that."
    )


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (
            Delay(12.0, math.nan, math.nan, True, "as set by clean.flow_delay"),
            "Grain flow was moved 12.0 s earlier, as set by clean.flow_delay.",
        ),
        (
            Delay(-2.0, math.nan, math.nan, True, "as set by clean.flow_delay"),
            "Grain flow was moved 2.0 s later, as set by clean.flow_delay.",
        ),
        (Delay(0.0, math.nan, math.nan, False, "as set by clean.flow_delay"), "Grain flow was not moved: as set by clean.flow_delay."),
        (Delay(0.0, math.nan, math.nan, False, "not identifiable"), "Grain flow was not moved: not identifiable."),
        (Delay(math.nan, math.nan, math.nan, False, ""), "Grain flow was not moved: its delay is not known."),
    ],
)
def test_a_delay_without_interval_claims_no_estimate(found: Delay, said: str) -> None:
    """The 0.0 s of a delay that could not be told is no finding."""
    assert delay("flow", found, WORDS) == said
