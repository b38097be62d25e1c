"""What is claimed, and that no more is."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Delay, Driver, Estimate, Pace, ReelSpeed
from lossmap.base.field import FieldMap
from lossmap.report.sentences import (
    after_largest,
    delay,
    driver,
    first_step,
    largest_sources,
    money_needed,
    pace,
    price_of,
    reel,
    yardstick,
    zone,
)
from lossmap.report.words import Price, Words, price_usd_kg

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


def test_without_a_price_money_is_asked_for_once(field_map: FieldMap) -> None:
    """The setting and an example; silent with a price, and where no loss is known."""
    bare = _with(field_map, price=None)
    assert money_needed(bare) == 'Money needs the price of the grain: set report.price, such as "4.20 USD/bu".'
    assert price_of(bare) is None
    assert money_needed(field_map) == money_needed(replace(bare, loss=dict.fromkeys(bare.loss, NOTHING))) == ""


def _with(field_map: FieldMap, crop: str | None = None, facts: dict[str, object] | None = None, **report: object) -> FieldMap:
    """The made field under other settings of the report, another crop or other facts."""
    settings = field_map.settings.model_copy(update={"report": field_map.settings.report.model_copy(update=report)})
    field = replace(field_map.field, facts=field_map.field.facts.model_copy(update=facts or {}))
    return replace(field_map, settings=settings, field=replace(field, crop=reference.crop(crop)) if crop else field)


SLOWER = Pace(
    "told",
    Estimate(1.8, 1.6, 2.0),
    2.2,
    1.4,
    2.9,
    Estimate(5.0, -1.0, 9.0),
    Estimate(24, -5, 44),
    Estimate(12, 9, 16),
    Estimate(60, 43, 80),
    300.0,
    70.0,
)


def test_the_speed_that_pays_is_a_range_with_what_it_saves(field_map: FieldMap) -> None:
    """Never one figure; price, hour, mean driven, saving with doubt, and a second count."""
    assert pace(_with(replace(field_map, pace=SLOWER), hour_value=300.0), WORDS) == (
        "With grain at 4.20 USD/bu and an hour at 300 USD, hours and lost grain together cost least at 3.6 to 4.5 mph, "
        "as far as these counts tell; "
        "the field was cut at 4.9 mph on average. Slower pays as far as that: the middle of it throughout, instead of that "
        "mean throughout, saves 2.02 USD/ac (-0.40 to 3.64), or 24 USD an hour (-5 to 44) of the combine. "
        "Taken as known: 70 % of the hours spent cutting. After the change, count again."
    )


def test_a_mean_within_the_range_needs_no_change_but_the_passes_may(field_map: FieldMap) -> None:
    """What is saved then is saved by driving evenly; beyond the edges of what was driven nothing is claimed."""
    text = pace(_with(replace(field_map, pace=replace(SLOWER, today_m_s=1.9)), hour_value=300.0), WORDS)
    assert (
        "the mean needs no change; the middle of the range held throughout, instead of 3.1 to 6.5 mph as driven, saves 4.86 USD/ac" in text
    )
    at_edge = replace(SLOWER, best_m_s=Estimate(2.9, 2.6, 2.9))
    text = pace(_with(replace(field_map, pace=at_edge), hour_value=300.0), WORDS)
    assert "Faster, where ground, crop and manual allow it, pays as far as that" in text
    assert "Faster than 6.5 mph was hardly driven, so what it would do is not known." in text
    slow = replace(SLOWER, best_m_s=Estimate(1.4, 1.4, 1.4))
    text = pace(_with(replace(field_map, pace=slow), hour_value=300.0), WORDS)
    assert "cost least at 3.0 to 3.2 mph" in text
    assert "Slower than 3.1 mph was hardly driven" in text


@pytest.mark.parametrize(
    ("found", "hour", "said"),
    [
        (None, 300.0, ""),
        (Pace("not known"), 300.0, ""),
        (Pace("no link"), None, ""),
        (Pace("no link"), 300.0, "Which speed pays is not said: loss was not shown to track ground speed here."),
        (
            Pace("not priced", missing=("report.hour_value", "report.price")),
            None,
            "Down to which ground speed slower pays can be said with report.hour_value (what an hour of the combine and all that waits "
            'behind it is worth, such as "300 USD/h") and report.price.',
        ),
        (
            replace(SLOWER, verdict="not told apart", best_m_s=Estimate(2.0, 1.4, 2.9)),
            300.0,
            "With grain at 4.20 USD/bu and an hour at 300 USD, the speed that pays best lies anywhere from 3.1 to 6.5 mph, "
            "most of what was driven: the counts do not tell it apart.",
        ),
    ],
)
def test_where_no_speed_is_told_the_reason_is(field_map: FieldMap, found: Pace | None, hour: float | None, said: str) -> None:
    """One sentence, or none where nobody asked."""
    assert pace(_with(replace(field_map, pace=found), hour_value=hour), WORDS) == said


def test_the_first_step_sends_nobody_slower_than_pays() -> None:
    """The range that pays in place of the reference; nothing on speed where the fast passes lie within it."""
    drivers = {"speed": TRACKS}
    assert first_step(drivers, WORDS, PRICE) == (
        "Try the fast passes at 4.0 mph and count again: 0.35 bu/ac (0.10 to 0.65) over the field, 73 USD (20 to 136), "
        "goes with driving faster than 4.0 mph. A link, not a proof of cause: the second count tells."
    )
    assert first_step(drivers, WORDS, None, SLOWER).startswith("Try the fast passes at 3.6 to 4.5 mph and count again: 0.35 bu/ac (0.10 to")
    assert first_step(drivers, WORDS, None, replace(SLOWER, best_m_s=Estimate(2.9, 2.5, 2.9))) == ""


def test_the_reel_beside_what_sources_give(field_map: FieldMap) -> None:
    """Index at the mean and at both ends, faster, slower or within, turns for the middle, and who says so."""
    soybean = _with(field_map, "soybean")
    text, keys = reel(replace(soybean, reel=ReelSpeed(1.48, 1.96, 1.27, 1.74, 31.1)), WORDS)
    assert text == (
        "At 3.9 mph, the mean, the reel's tips ran 1.48 times as fast as the ground; 1.27 times on the fast passes, 1.96 on the slow ones. "
        "That is faster than the 1.1 to 1.25 that sources give for soybean (one goes to 1.5); "
        "37 rev/min would be the middle of that range at the mean speed."
    )
    assert set(keys) == {"memory", "MU1280", "SEFP", "REEL"}
    assert "within the 1.1 to 1.25" in reel(replace(soybean, reel=ReelSpeed(1.2, 1.5, 1.0, 1.74, 31.1)), WORDS)[0]
    assert "slower than the 1.1" in reel(replace(soybean, reel=ReelSpeed(0.9, 1.0, 0.8, 1.74, 31.1)), WORDS)[0]
    wheat = replace(_with(field_map, "wheat"), reel=ReelSpeed(1.2, 1.5, 1.0, 1.74, 31.1))
    assert reel(wheat, WORDS)[0].endswith("No source here gives a range for wheat: your manual does.")
    assert reel(wheat, WORDS)[1] == ()


def test_half_a_reel_asks_for_the_other_half(field_map: FieldMap) -> None:
    """One fact alone says which is missing; none says nothing."""
    needed = "How fast the reel ran against the ground needs {} in field.toml too."
    assert reel(_with(field_map, facts={"reel_rpm": 46.0}), WORDS)[0] == needed.format("reel_diameter")
    assert reel(_with(field_map, facts={"reel_diameter": 1.07}), WORDS)[0] == needed.format("reel_rpm")
    assert reel(field_map, WORDS) == ("", ())


def test_the_handbooks_yardstick(field_map: FieldMap) -> None:
    """In their unit, beside the field's own with its doubt; in kg/ha for who thinks in it; silent without a source."""
    assert yardstick(field_map, WORDS) == (
        "For corn, handbooks call up to 1 bu/ac attainable; here it is 1.9 bu/ac (1.4 to 2.4).",
        ("BROD", "BAY", "HANNA"),
    )
    metric = Words(WORDS.crop, "metric")
    assert yardstick(field_map, metric)[0] == "For corn, handbooks call up to 63 kg/ha attainable; here it is 118 kg/ha (88 to 151)."
    soybean = _with(field_map, "soybean")
    assert yardstick(soybean, Words(soybean.field.crop, "us"))[0] == (
        "For soybean, handbooks call 3 to 5 % of the yield attainable and 6 to 10 % of the yield usual; here it is 1.1 % (0.8 to 1.4)."
    )
    assert yardstick(_with(field_map, "rice"), WORDS) == ("", ())
    unknown = replace(field_map, loss=dict.fromkeys(field_map.loss, NOTHING))
    assert yardstick(unknown, WORDS)[0] == "For corn, handbooks call up to 1 bu/ac attainable."


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
