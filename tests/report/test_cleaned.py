"""The part on cleaning in words."""

from __future__ import annotations

import dataclasses
import math

from lossmap.base.estimates import Delay
from lossmap.base.field import FieldMap
from lossmap.base.tables import FLAGS
from lossmap.report.cleaned import cleaned
from lossmap.report.numbers import words_of


def test_every_reason_with_count_share_and_meaning(field_map: FieldMap) -> None:
    """One row a reason, in the order of cleaning; what occurs is never 0.0 %."""
    flags = {reason: 1 + 40 * (number % 2) for number, reason in enumerate(FLAGS)}
    found = dataclasses.replace(field_map.cleaning, read=3000, flags=flags)
    rows = cleaned(dataclasses.replace(field_map, cleaning=found), words_of(field_map))["reasons"]
    assert [row.name for row in rows] == list(FLAGS)
    assert all(row.means for row in rows)
    assert [(row.records, row.share) for row in rows[:2]] == [("1", "< 0.1 %"), ("41", "1.4 %")]


def test_semivariance_is_told_as_noise_in_units_of_yield(field_map: FieldMap) -> None:
    """Roots of 900, 700 and 2,700 squared kg/ha are 14.3, 11.2 and 43.0 bu/ac of corn; grain in bushels."""
    rows = {name: (before, after) for name, _, before, after in cleaned(field_map, words_of(field_map))["figures"]}
    assert rows["noise between neighbours"] == ("14.3 bu/ac", "6.7 bu/ac")
    assert rows["noise on the spot"] == ("11.2 bu/ac", "4.9 bu/ac")
    assert rows["spread far apart"] == ("43.0 bu/ac", "21.5 bu/ac")
    assert rows["spread over mean"] == ("25.0 %", "11.8 %")
    assert rows["skewness"] == ("-1.40", "-0.20")
    assert rows["grain of these records"] == ("10,314 bu", "9,763 bu")


def test_a_figure_known_on_one_side_only_says_so(field_map: FieldMap) -> None:
    """A missing side is not known; a figure missing on both sides is no row."""
    after = {**field_map.cleaning.after, "first_lag": math.nan, "sill": math.nan}
    before = {name: value for name, value in field_map.cleaning.before.items() if name != "sill"}
    found = dataclasses.replace(field_map.cleaning, before=before, after=after)
    rows = {row[0]: row[2:] for row in cleaned(dataclasses.replace(field_map, cleaning=found), words_of(field_map))["figures"]}
    assert rows["noise between neighbours"] == ("14.3 bu/ac", "not known")
    assert "spread far apart" not in rows


def test_areas_passes_and_machines_have_their_units(field_map: FieldMap) -> None:
    """24.9, 22.7 and 21.9 ha are 61.5, 56.1 and 54.1 ac; factors stand with their interval."""
    told = cleaned(field_map, words_of(field_map))
    assert [(name, area) for name, _, area in told["areas"]] == [("logged", "61.5 ac"), ("freshly cut", "56.1 ac"), ("covered", "54.1 ac")]
    assert "by 1.8 % (standard deviation" in told["offset"]
    assert told["machines"] == [("red", "1.040", "1.020 to 1.060"), ("blue", "0.970", "0.950 to 0.990")]


def test_a_log_that_says_nothing_leaves_nothing_invented(field_map: FieldMap) -> None:
    """No figures, no delays, no areas: words instead of numbers, and no drawing of a delay."""
    unknown = Delay(math.nan, math.nan, math.nan, False, "")
    found = dataclasses.replace(
        field_map.cleaning,
        before={},
        after={},
        flow_delay=unknown,
        moisture_delay=unknown,
        logged_ha=math.nan,
        fresh_ha=math.nan,
        union_ha=math.nan,
        pass_offset_pct=math.nan,
        machine_factors={},
    )
    told = cleaned(dataclasses.replace(field_map, cleaning=found), words_of(field_map))
    assert told["figures"] == told["machines"] == []
    assert {area for _, _, area in told["areas"]} == {"not known"}
    assert "not known" in told["offset"]
    assert [row["drawing"] for row in told["delays"]] == [None, None]
