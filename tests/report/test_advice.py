"""What is advised, with its doubt and its sources, and where nothing is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Driver, Estimate, Pace, ReelSpeed
from lossmap.base.field import FieldMap
from lossmap.report.advice import first_step, pace, reel, yardstick
from lossmap.report.money import Price, price_usd_kg
from lossmap.report.words import Words

WORDS = Words(reference.crop("corn"), "us")
TRACKS = Driver("speed", "tracks", Estimate(1.49, 1.12, 1.98), "+0.5 m/s", 0.991, 1.8, 12, 9, Estimate(22.0, 6.0, 41.0))
PRICE = Price("4.20 USD/bu", price_usd_kg("4.20 USD/bu", WORDS.crop), 20.0)


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
        "What fell before harvest was counted too and draws the effect down: where it is strong, more may be saved than is said here. "
        "Taken as known: 70 % of the hours spent cutting. After the change, count again."
    )


def test_counts_behind_the_combine_alone_draw_no_effect_down(field_map: FieldMap) -> None:
    """Where nothing was counted in front of the header, nothing is said of it."""
    behind = replace(field_map, pace=SLOWER, loss={**field_map.loss, "preharvest": NOTHING})
    assert "before harvest" not in pace(_with(behind, hour_value=300.0), WORDS)


def test_a_mean_within_the_range_needs_no_change_but_the_passes_may(field_map: FieldMap) -> None:
    """What is saved then is saved by driving evenly; beyond the edges of what was driven nothing is claimed."""
    text = pace(_with(replace(field_map, pace=replace(SLOWER, today_m_s=1.9)), hour_value=300.0), WORDS)
    assert (
        "the mean needs no change; the middle of the range held throughout, instead of 3.1 to 6.5 mph as driven, saves 4.86 USD/ac" in text
    )
    assert "Few counts read a strong effect rather too small: more may be saved than that." in text
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
