"""What may come of each field, and what forbids a plan."""

from __future__ import annotations

import dataclasses
import datetime
import re

import numpy as np
import pytest
from drydown.made_farms import ON, changed, days, made, quick, record

from lossmap.base.errors import NoReference, SettingsError, TooLittleData
from lossmap.base.estimates import Estimate
from lossmap.base.farm import MeasuredLoss, Reading
from lossmap.base.reference import crop
from lossmap.drydown.outlook import days_since_maturity, outlook


@pytest.fixture(scope="module")
def seen():
    """The outlook of six fields."""
    of = made()
    return outlook(of.farm, record(of), ON, quick())


def test_shapes_and_sense(seen):
    """Fields, days and draws; moistures that grain can have; no field brings more than all of it."""
    assert seen.moisture_pct.shape == seen.net_usd_ha.shape == seen.grain_kg_ha.shape == (6, 75, 40)
    assert (seen.moisture_pct > 3).all()
    assert (seen.moisture_pct < 45).all()
    for number, field in enumerate(seen.fields):
        assert (seen.grain_kg_ha[number] <= field.yield_kg_ha).all()
    assert (np.diff(seen.day_of, axis=1) >= 0).all()
    assert seen.day_of.max() < seen.days


def test_today_is_the_reading_with_its_error(seen):
    """On the day of the plan moisture is what was read, give or take a point."""
    for number, field in enumerate(seen.fields):
        now = seen.moisture_pct[number, 0]
        assert now.mean() == pytest.approx(field.readings[-1].moisture_pct, abs=0.02)
        assert now.std() == pytest.approx(1, abs=0.05)


def test_cost_is_nothing_on_the_best_slot(seen):
    """The cost of waiting is 0 at a field's own best hours, and never below."""
    cost = seen.cost_usd_ha()
    assert cost.min(axis=1) == pytest.approx(np.zeros(6))
    assert (cost >= 0).all()


def test_money_over_a_stretch_is_the_mean_of_its_hours(seen):
    """A field cut over several slots brings their mean, draw by draw."""
    one = np.stack([seen.net_when(2, slot, slot + 1) for slot in range(10, 14)])
    assert seen.net_when(2, 10, 14) == pytest.approx(one.mean(axis=0), rel=1e-6)
    assert seen.moisture_when(2, 0, 1) == pytest.approx(seen.moisture_pct[2, seen.day_of[:, 0], np.arange(40)], rel=1e-6)


def test_a_field_that_was_cut_is_gone():
    """Fields that were cut are not planned for; when all are, there is nothing to do."""
    of = made()
    less = changed(of.farm, 0, cut_on=ON)
    assert [field.name for field in outlook(less, record(of), ON, quick()).fields] == [field.name for field in of.farm.fields[1:]]
    none = dataclasses.replace(of.farm, fields=tuple(dataclasses.replace(field, cut_on=ON) for field in of.farm.fields))
    with pytest.raises(TooLittleData, match=r"every field is cut; there is nothing to put in order"):
        outlook(none, record(of), ON, quick())


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        (
            {"readings": (Reading(days(3), 20.0),)},
            "made-farm/farm.toml: {name}: was measured on 2025-09-28, after the day of the plan (2025-09-25); "
            "correct the date, or give another --on",
        ),
        ({"readings": ()}, "made-farm/farm.toml: {name}: has no moisture; give moisture and measured_on, or a row of readings"),
        (
            {"matured_on": days(1)},
            "made-farm/farm.toml: {name}: matured_on 2025-09-26 lies after the day of the plan (2025-09-25); correct it, or leave it out",
        ),
        (
            {"readings": (Reading(days(-130), 20.0),)},
            "made-farm/farm.toml: {name}: its last reading is of 2025-05-18, more than 120 days before 2025-09-25; "
            "measure it, or give another --on",
        ),
    ],
)
def test_facts_that_forbid_a_plan(facts, message):
    """Each field with what is wrong and what to do."""
    of = made()
    message = message.format(name=of.farm.fields[1].name)
    with pytest.raises(SettingsError, match=f"^{re.escape(message)}$"):
        outlook(changed(of.farm, 1, **facts), record(of), ON, quick())


def test_a_day_before_every_reading():
    """A plan of a day on which nothing was measured yet is one fault, not one a field."""
    of = made()
    message = (
        "made-farm/farm.toml: every reading lies after the day of the plan (2024-01-01; the first is of 2025-09-25); give another --on"
    )
    with pytest.raises(SettingsError, match=f"^{re.escape(message)}$"):
        outlook(of.farm, record(of), datetime.date(2024, 1, 1), quick())


def test_no_price_no_source_no_weather():
    """A crop without a price, a crop nobody has a source for, no past years."""
    of = made()
    unpriced = dataclasses.replace(of.farm, money={"corn": of.farm.money["corn"]})
    with pytest.raises(SettingsError, match=r'no price for soybean; add \[money\.soybean\] with price = "4\.20 USD/bu"'):
        outlook(unpriced, record(of), ON, quick())
    wheat = dataclasses.replace(changed(of.farm, 0, crop=crop("wheat")), money=of.farm.money | {"wheat": of.farm.money["corn"]})
    with pytest.raises(NoReference, match=r"no source says how wheat dries .* known: corn, soybean; leave its fields out"):
        outlook(wheat, record(of), ON, quick())
    with pytest.raises(TooLittleData, match=r"0 past years hold the days"):
        outlook(of.farm, of.past.iloc[:0], ON, quick())


def test_more_work_than_a_season_has():
    """Hours needed and hours there are, and what to do; a little more work looks further ahead."""
    of = made()
    slow = dataclasses.replace(of.farm, combines=(dataclasses.replace(of.farm.combines[0], rate_ha_h=0.15),))
    with pytest.raises(
        TooLittleData, match=r"takes about [\d,]+ h and \d+ days have [\d,]+ h fit for harvest; add combines, or leave fields out"
    ):
        outlook(slow, of.past, ON, quick(years={"least_years": 3}))
    longer = dataclasses.replace(of.farm, combines=(dataclasses.replace(of.farm.combines[0], rate_ha_h=0.45),))
    assert outlook(longer, record(of), ON, quick()).days > 75


def test_maturity_by_the_usual_drying_where_nobody_wrote_it_down():
    """A date is taken as it is; without one, corn at 28.1 % ten days ago matured 20 days ago."""
    field = dataclasses.replace(made().farm.fields[0], matured_on=days(-7))
    assert days_since_maturity(field, {}, ON) == 7
    undated = dataclasses.replace(field, matured_on=None, readings=(Reading(days(-10), 28.1),))
    assert days_since_maturity(undated, {"maturity_moisture": 35.0, "usual_drying": 0.69}, ON) == pytest.approx(20)


def test_counts_of_a_mapped_field_stand_for_the_table():
    """A machine that lost a tenth leaves less grain than one that lost a hundredth; a sure share scatters less than an unsure one."""
    of = made()

    def grain(share):
        farm = changed(of.farm, 0, measured=MeasuredLoss(share, of.farm.fields[0].readings[-1].moisture_pct, 0.0, np.nan, "made"))
        return outlook(farm, record(of), ON, quick()).grain_kg_ha[0, 0]

    most = of.farm.fields[0].yield_kg_ha
    little, much = grain(Estimate(0.01, 0.0099, 0.0101)), grain(Estimate(0.10, 0.099, 0.101))
    assert (much < little).all()
    assert (little - much).mean() / most == pytest.approx(0.09, abs=0.02)
    assert grain(Estimate(0.05, 0.02, 0.12)).std() > 2 * grain(Estimate(0.05, 0.049, 0.051)).std()
