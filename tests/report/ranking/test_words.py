"""An order in plain words."""

from __future__ import annotations

import dataclasses
import datetime

import pytest
from drydown.made_farms import ON, ranked

from lossmap.base.estimates import Estimate
from lossmap.report.ranking.words import (
    blocks,
    cautions,
    gain_lines,
    headline,
    hour_lines,
    measure_line,
    pair_line,
    why,
    words_of,
)


def first_of(ranking, **changed):
    """The ranking with its first field changed."""
    return dataclasses.replace(ranking, fields=(dataclasses.replace(ranking.fields[0], **changed), *ranking.fields[1:]))


def test_the_headline_says_where_to_go_and_what_a_day_costs():
    """Name, crop, moisture, then money and grain of a day with their doubt."""
    ranking = first_of(
        ranked(),
        cut_on=ON,
        wait_usd_ha_day=Estimate(20.0, 10.0, 30.0),
        wait_kg_ha_day=Estimate(30.0, 10.0, 50.0),
        moisture_now_pct=Estimate(14.2, 13, 15),
    )
    head, cost = headline(ranking)
    name = ranking.fields[0].field.name
    assert head.startswith(f"Go to {name} (")
    assert "14.2 %" in head
    assert cost.startswith("A day of waiting there costs 8.1 USD/ac (4.0 to 12.1), 0.4")
    assert "bu/ac" in cost


def test_what_makes_a_field_urgent_is_said_in_a_word():
    """Stalks that fail a push go before brittle grain; sound stalks and wet grain need no word."""
    ranking = ranked()
    bean = next(of for of in ranking.fields if of.field.crop.name == "soybean")

    def head(moisture, standability):
        field = dataclasses.replace(bean.field, standability=standability)
        wet = Estimate(moisture, moisture - 1, moisture + 1)
        return headline(first_of(ranking, field=field, moisture_now_pct=wet, cut_on=ON))[0]

    assert head(8.0, 4.0).endswith("(beans, 8.0 %, weak stalks).")
    assert head(8.0, 0.0).endswith("(beans, 8.0 %, brittle).")
    assert head(18.0, 0.0).endswith("(beans, 18.0 %).")


def test_waiting_that_pays_is_said():
    """A first field that would still gain says so instead of a cost below nothing."""
    head, cost = headline(first_of(ranked(), cut_on=ON, wait_usd_ha_day=Estimate(-10.0, -20.0, -5.0)))
    assert cost == "Waiting there until tomorrow would still pay: 4.0 USD/ac (2.0 to 8.1); others need the hours later."
    assert head.startswith("Go to ")


def test_a_plan_that_begins_tomorrow_says_tomorrow():
    """Nothing is cut today: the headline says so, and no other field is said to need today's hours."""
    tomorrow = ON + datetime.timedelta(days=1)
    first = first_of(ranked(), cut_on=tomorrow, curve_usd_ha=(50.0, 40.0, 45.0), wait_usd_ha_day=Estimate(-10.0, -20.0, -5.0))
    head, cost = headline(first)
    assert head.startswith("Go to ")
    assert head.endswith(" tomorrow.")
    assert cost == "Cut today it would bring 4.0 USD/ac less than then; no other field is worth more today."


def test_a_plan_that_waits_says_until_when():
    """Where nothing is worth cutting yet: until when, and what cutting today would cost."""
    head, cost = headline(first_of(ranked(), cut_on=ON + datetime.timedelta(days=6), curve_usd_ha=(50.0, 40.0, 30.0, 20.0, 10.0, 5.0, 0.0)))
    assert head.startswith("Wait until about 1 Oct, then go to ")
    assert cost == "Cut today it would bring 20 USD/ac less than then; no other field is worth more today."


@pytest.mark.parametrize("units", ["us", "metric"])
def test_units_by_one_setting(units):
    """Acres and bushels, or hectares and kilograms, in every sentence."""
    ranking = ranked()
    page = ranking.settings.page.model_copy(update={"units": units})
    ranking = dataclasses.replace(ranking, settings=ranking.settings.model_copy(update={"page": page}))
    text = " ".join([*headline(ranking), *(why(of, ranking) for of in ranking.fields), *gain_lines(ranking)])
    assert ("USD/ac" in text) == (units == "us")
    assert ("USD/ha" in text) == (units == "metric")
    assert words_of(ranking.fields[0], ranking).units == units


def test_reasons_name_the_largest_parts():
    """Two parts at most each way, the largest first; weak stalks are said."""
    ranking = ranked()
    parts = {"preharvest": 10.0, "header": 30.0, "threshing": 0.5, "weight": 0.0, "drying": -12.0, "wet": 0.0}
    of = dataclasses.replace(ranking.fields[0], wait_usd_ha_week=Estimate(28.5, 20, 40), wait_parts_usd_ha_week=parts)
    corn = dataclasses.replace(
        of,
        field=dataclasses.replace(
            of.field, crop=next(x.field.crop for x in ranking.fields if x.field.crop.name == "corn"), standability=3.0
        ),
    )
    assert why(corn, ranking) == (
        "A week of waiting costs 12 USD/ac (8 to 16): drier ears shelling at the header and lodging with dropped ears; "
        "less to dry gives some back. 3 stalks of 10 fail a push."
    )
    drying = dataclasses.replace(
        corn, wait_usd_ha_week=Estimate(-30, -40, -20), wait_parts_usd_ha_week={"drying": -40.0, "preharvest": 10.0}
    )
    assert why(drying, ranking).startswith("A week of waiting pays 12 USD/ac (8 to 16): less to dry; lodging with dropped ears takes some.")


def test_pairs_blocks_gains_and_hours():
    """Every line names what it is about, with its number and unit."""
    ranking = ranked(fields=12, rng_seed=3)
    assert pair_line(ranking.fields[-1]) == "last of its machine"
    for of in ranking.fields[:-1]:
        line = pair_line(of)
        assert of.before.other in line
        assert line.startswith("toss-up with") == (of.before.label == "toss-up")
    assert [block for block, _ in blocks(ranking)] == [
        block for block in ("now", "next", "later") if any(of.block == block for of in ranking.fields)
    ]
    assert sum(len(fields) for _, fields in blocks(ranking)) == 12
    assert any(line.startswith("Driest first costs ") and "of 100 seasons." in line for line in gain_lines(ranking))
    assert hour_lines(ranking)[0].startswith("An hour lost now costs the farm ")


def test_the_reading_to_take_next():
    """Named with its worth, or nothing where none decides."""
    ranking = ranked()
    name = ranking.fields[2].field.name
    fields = (*ranking.fields[:2], dataclasses.replace(ranking.fields[2], reading_worth_usd=87.0), *ranking.fields[3:])
    told = measure_line(dataclasses.replace(ranking, measure=name, fields=fields))
    assert told == f"Measure {name} again: of all readings it would tell most about where to begin (worth about 87 USD)."
    assert measure_line(dataclasses.replace(ranking, measure=None)) == ""


def test_cautions_are_about_this_farm():
    """Old readings, stalks nobody pushed, toss-ups, no forecast, the dryer; the storm always."""
    ranking = ranked()
    text = " ".join(cautions(ranking))
    assert "wind storm" in text
    assert "No forecast was given" in text
    assert "Readings older" not in text
    name = ranking.fields[0].field.name
    old = first_of(ranking, reading_age_days=12, field=dataclasses.replace(ranking.fields[0].field, standability=None, matured_on=None))
    text = " ".join(cautions(dataclasses.replace(old, dryer_binds=True)))
    assert f"Readings older than 4 days, measure again: {name} (12 days)." in text
    assert f"No date is given where the reading is older than 10 days: {name}." in text
    assert f"Nobody pushed stalks in {name}" in text
    assert f"No day of maturity for {name}" in text
    assert "dryer is slower" in text
