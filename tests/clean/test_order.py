"""The whole of cleaning: each planted fault has its reason, and what can be believed is kept."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
import shapely

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import StatedTiming
from lossmap.base.tables import POINTS
from lossmap.clean import clean
from lossmap.project import project, utm_crs
from lossmap.read import read_field, read_points
from lossmap.synthetic import FieldPlan, make
from outside import agrees

BU_AC = 62.76766474688954  # kg/ha in one bu/ac of corn


def reasons(table):
    """How often each reason stands."""
    counted = table["flag"].value_counts().to_dict()
    counted.pop("", None)
    return counted


def test_every_record_stays_in_its_order(straight_log, field, settings):
    """No row is dropped, the input is untouched, and the result keeps the contract."""
    log = straight_log()
    before = log.copy()
    table, found = clean(log, field, settings)
    assert len(POINTS.check(table)) == len(log) == found.read
    assert shapely.equals(table.geometry.to_numpy(), log.geometry.to_numpy()).all()
    assert log.equals(before)


def test_a_tidy_log_loses_its_ramps_only(straight_log, field, settings):
    """Six clean passes: three seconds at each start, six at each end, and a word that little went."""
    table, found = clean(straight_log(), field, settings)
    assert reasons(table) == {"pass start": 6 * 3, "pass end": 6 * 6}
    assert found.kept == len(table) - 54


def test_yield_is_flow_over_area_at_market_moisture(straight_log, field, settings):
    """10 kg/s over 2 m/s x 9 m is 5,555.6 kg/ha wet, 5,522.7 at 15.5 %."""
    table, _ = clean(straight_log(), field, settings)
    assert table["yield_kg_ha"].iloc[50] == pytest.approx(10 / (2 * 9) * 10_000 * (100 - 16) / (100 - 15.5))


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda log: log.geometry.mask(log.index == 200, shapely.Point(0, 0)), "bad position"),
        (lambda log: log.geometry.mask(log.index == 200, shapely.Point(450_100, 4_639_100)), "position jump"),
    ],
)
def test_positions_that_cannot_be(straight_log, field, settings, spoil, reason):
    """A lost fix and a thrown one are one flagged record each, and no pass is broken by them."""
    log = straight_log()
    log = log.set_geometry(spoil(log).set_crs(log.crs, allow_override=True))
    table, _ = clean(log, field, settings)
    assert table["flag"].iloc[200] == reason
    assert reasons(table)[reason] == 1


@pytest.mark.parametrize(
    ("column", "value", "reason"),
    [
        ("mass_flow_kg_s", 0.0, "not working"),
        ("width_m", 0.0, "not working"),
        ("mass_flow_kg_s", 90.0, "beyond crop limits"),
        ("mass_flow_kg_s", 25.0, "unlike the field"),
        ("speed_m_s", np.nan, ""),
    ],
)
def test_values_that_cannot_be(straight_log, field, settings, column, value, reason):
    """Each planted value gets its own reason, and one that can be believed gets none."""
    log = straight_log()
    log.loc[200, column] = value
    table, _ = clean(log, field, settings)
    assert table["flag"].iloc[200] == reason


def test_a_steady_fast_pass_is_kept_and_a_jolt_is_not(straight_log, field, settings):
    """Speed change is refused, never speed: a pass at twice the speed stays whole."""
    log = straight_log()
    fast = slice(300, 449)
    log.loc[fast, ["speed_m_s", "distance_m", "mass_flow_kg_s"]] *= 1.9
    log.loc[700, "speed_m_s"] = 3.0
    table, _ = clean(log, field, settings)
    assert (table["flag"].iloc[310:440] == "").all()
    assert table["flag"].iloc[700] == "speed change"


def test_a_second_cut_is_flagged_and_a_partial_one_corrected(straight_log, field, settings):
    """Half a header over ground already cut: below half fresh is refused, above is divided by its true width."""
    log = straight_log(passes=4)
    x, y = log.geometry.x.to_numpy(), log.geometry.y.to_numpy()
    last = np.arange(len(log)) >= 450
    for overlap, flagged in ((6.0, True), (3.0, False)):
        moved = log.set_geometry(shapely.points(np.where(last, x - overlap, x), y), crs=log.crs)
        moved.loc[last, "mass_flow_kg_s"] = 10.0 * (9.0 - overlap) / 9.0
        table, _ = clean(moved, field, settings)
        middle = table.iloc[500:560]
        assert ((middle["flag"] == "swath already cut") == flagged).all()
        if not flagged:
            assert middle["yield_kg_ha"].to_numpy() == pytest.approx(5522.7, rel=0.06)


def test_one_reading_for_each_section_is_one_record(straight_log, field, settings):
    """Four rows of one reading become one as wide as all, the other three keep their rows with a reason."""
    log = straight_log()
    parts = []
    for number, aside in enumerate((-3.375, -1.125, 1.125, 3.375)):
        part = log.copy()
        part["width_m"] = 2.25
        part.geometry = shapely.points(log.geometry.x + aside, log.geometry.y)
        part["row"] = np.arange(len(log)) * 4 + number
        parts.append(part)
    sections = type(log)(pd.concat(parts), crs=log.crs).sort_values("row").drop(columns="row").reset_index(drop=True)
    table, found = clean(sections, field, settings)
    assert reasons(table)["section row"] == 3 * len(log)
    whole, _ = clean(log, field, settings)
    assert found.after["mean"] == pytest.approx(whole["yield_kg_ha"][whole["flag"] == ""].mean(), rel=1e-6)


def test_points_outside_the_boundary_are_flagged(straight_log, field, settings):
    """A boundary narrower than the log flags what lies outside it by more than half a header."""
    log = straight_log()
    boundary = shapely.box(449_995.5, 4_639_000, 450_030.0, 4_639_300)
    table, _ = clean(log, field, settings, boundary)
    outside = table["flag"] == "outside field"
    assert outside.any()
    assert (log.geometry.x[outside] > 450_030.0 + 4.5).all()


def test_lost_order_is_said_and_its_steps_left_out(straight_log, field, settings):
    """Shuffled rows without a clock: no passes, no swath, a note; a running number mends it."""
    log = straight_log(clock=False)
    log["record"] = np.arange(len(log), dtype=float)
    shuffled = log.sample(frac=1.0, random_state=1).reset_index(drop=True)
    table, found = clean(shuffled.drop(columns="record"), field, settings)
    assert any("lost the order of harvest" in note for note in found.notes)
    assert (table["pass_id"] == -1).all()
    mended, _ = clean(shuffled, field, settings)
    assert reasons(mended) == reasons(clean(log.drop(columns="record"), field, settings)[0])


def test_a_set_delay_moves_moisture_back(straight_log, field, settings):
    """A moisture step logged 10 s late stands where it was cut once the delay is set."""
    log = straight_log()
    late = np.where(np.arange(len(log)) % 150 < 75 + 10, 16.0, 20.0)
    log["moisture_pct"] = late
    table, found = clean(log, field, settings.model_copy(update={"moisture_delay": 10.0}))
    assert table["moisture_pct"].iloc[74] == 16.0
    assert table["moisture_pct"].iloc[76] == pytest.approx(20.0)
    assert (found.moisture_delay.seconds, found.moisture_delay.applied) == (10.0, True)
    assert not found.flow_delay.applied


def test_a_log_that_states_its_ramps_is_believed(straight_log, field, settings):
    """Ignore times from the machine's own log go before the settings, for that log alone."""
    stated = StatedTiming(0, np.nan, np.nan, 10.0, 8.0)
    table, _ = clean(straight_log(), field, settings, timings=[stated])
    assert reasons(table) == {"pass start": 6 * 8, "pass end": 6 * 10}
    table, _ = clean(straight_log(), field, settings, timings=[dataclasses.replace(stated, log=3)])
    assert reasons(table) == {"pass start": 6 * 3, "pass end": 6 * 6}


def test_a_stuck_moisture_sensor_costs_moisture_not_yield(straight_log, field, settings):
    """Two minutes of one value among moving ones are taken as missing; the records stay believed."""
    log = straight_log()
    rng = np.random.default_rng(4)
    log["moisture_pct"] = np.round(16 + rng.normal(0, 0.3, len(log)), 1)
    log.loc[310:430, "moisture_pct"] = 13.0
    table, found = clean(log, field, settings.model_copy(update={"moisture_delay": 0.0}))
    assert table["moisture_pct"].iloc[315:425].isna().all()
    assert (table["flag"].iloc[315:425] == "").all()
    assert any("moisture stood still for 12" in note for note in found.notes)


def test_two_machines_are_matched_only_when_asked(straight_log, field, settings):
    """A second combine that reads 10 % low is left as it is, and brought up, mass kept, when asked to."""
    log = straight_log(passes=12)
    second = (np.arange(len(log)) // 150) % 2 == 1
    log["machine"] = np.where(second, "blue", "red")
    log["mass_flow_kg_s"] *= np.where(second, 0.9, 1.0) * np.random.default_rng(5).normal(1, 0.03, len(log))
    as_it_is, untouched = clean(log, field, settings)
    matched, found = clean(log, field, settings.model_copy(update={"match_machines": True}))
    kept = (matched["flag"] == "").to_numpy()
    means = matched[kept].groupby("machine")["yield_kg_ha"].mean()
    assert means["blue"] / means["red"] == pytest.approx(1.0, abs=0.02)
    assert as_it_is[kept].groupby("machine")["yield_kg_ha"].mean()["blue"] / means["red"] < 0.97
    assert matched["yield_kg_ha"][kept].sum() == pytest.approx(as_it_is["yield_kg_ha"][kept].sum(), rel=0.01)
    assert set(found.machine_factors) == {"blue", "red"}
    assert untouched.machine_factors == {}


def test_strips_of_a_trial_survive(field, settings):
    """Strips five headers wide with 25 % more yield keep at least 95 % of their contrast."""
    plan = FieldPlan(crop="corn", yield_kg_ha=9000.0, course_deg=0.0, length_m=600, breadth_m=400, headland_rounds=0)
    made = make(plan, 9)
    strip = ((made.points.geometry.x - plan.west_m) // 45).to_numpy() % 2 == 1
    log = made.points.copy()
    log["mass_flow_kg_s"] *= np.where(strip, 1.25, 1.0)
    named = dataclasses.replace(field, facts=field.facts.model_copy(update={"header_width": plan.header_width_m}))
    table, _ = clean(log, named, settings)
    kept = (table["flag"] == "").to_numpy()
    plain, _ = clean(made.points, named, settings)
    change = np.log(table["yield_kg_ha"] / plain["yield_kg_ha"])[kept]
    contrast = change[strip[kept]].mean() - change[~strip[kept]].mean()
    assert contrast >= 0.95 * np.log(1.25)
    assert kept[strip].mean() == pytest.approx(kept[~strip].mean(), abs=0.03)


def test_too_few_believed_records_are_refused(straight_log, field, settings):
    """A log of zero flow cannot make a map, and says which reason took it."""
    log = straight_log(passes=1)
    log["mass_flow_kg_s"] = 0.0
    with pytest.raises(
        TooLittleData, match=r"made: 0 of 150 records can be believed, at least 50 are needed \(most are flagged \"not working\"\)"
    ):
        clean(log, field, settings)


@pytest.mark.parametrize("records", [1, 2, 49])
def test_a_log_of_a_few_records_is_refused(straight_log, field, settings, records):
    """One record, or forty-nine, are no log of a field, and say so without a stumble."""
    with pytest.raises(TooLittleData, match=f"made: the log holds {records} records, at least 50 are needed"):
        clean(straight_log(passes=1).iloc[:records], field, settings)


def test_planted_faults_of_a_made_field_are_found(field, settings):
    """Every duplicate and jump, nine of ten spikes, and the true yield within one percent."""
    plan = FieldPlan(crop="corn", header_up_rows=True, duplicates=20, jumps=15, spikes=25, yield_kg_ha=9000.0)
    made = make(plan, 3)
    named = dataclasses.replace(field, facts=field.facts.model_copy(update={"header_width": plan.header_width_m}))
    table, found = clean(made.points, named, settings)
    assert found.flags["duplicate"] == 20
    assert found.flags["position jump"] == 15
    assert found.flags["beyond crop limits"] + found.flags["unlike the field"] + found.flags.get("unlike its neighbours", 0) >= 22
    kept = (table["flag"] == "").to_numpy()
    truth = made.truth.surfaces["yield_kg_ha"].at(table.geometry.x.to_numpy(), table.geometry.y.to_numpy())
    ratio = table["yield_kg_ha"].to_numpy()[kept] / truth[kept]
    assert np.nanmean(ratio) == pytest.approx(1.0, abs=0.01)
    assert np.nanstd(ratio) < 0.06


def _gartner(open_data, tmp_path):
    folder = tmp_path / "maize"
    folder.mkdir()
    (folder / "points.txt").write_bytes(open_data("gartner-corn/gartner.corn.txt").read_bytes())
    (folder / "field.toml").write_text(
        'name = "Open maize log"\ncrop = "corn"\nheader_width = "360 in"\n[[points]]\npath = "points.txt"\n[points.columns]\n'
        'mass_flow = { column = "mass", unit = "lb/s" }\ninterval = { column = "seconds", unit = "s" }\n'
        'distance = { column = "dist", unit = "in" }\nmoisture = { column = "moist", unit = "%" }\n'
        'elevation = { column = "elev", unit = "ft" }\n'
    )
    field = read_field(folder)
    log = read_points(field).table
    return field, project(log, utm_crs(log))


def test_the_open_maize_log_gives_its_published_yield(open_data, tmp_path, settings):
    """Mean 133.455, median 136.640 and SD 22.265 bu/ac before cleaning (help page of agridat's gartner.corn); 67.64 ac logged."""
    field, log = _gartner(open_data, tmp_path)
    _, found = clean(log, field, settings)
    source = "agridat, help page of gartner.corn"
    for figure, printed in (("mean", 133.455), ("median", 136.640), ("sd", 22.265)):
        agrees(f"open maize log before cleaning, {figure} [bu/ac]", source, found.before[figure] / BU_AC, printed, 0.001)
    agrees("its logged area [ac]", "sum of its own steps and widths", found.logged_ha / 0.40468564, 67.64, 0.68)


def test_the_open_maize_log_is_cleaned_within_the_measured_band(open_data, tmp_path, settings):
    """7 to 13 % flagged, median after 136.9 to 137.6 bu/ac, fresh area within 1 % of exact polygons (66.34 ac)."""
    field, log = _gartner(open_data, tmp_path)
    table, found = clean(log, field, settings)
    assert len(table) == 4949
    assert 0.07 <= 1 - found.kept / found.read <= 0.13
    assert 136.9 <= found.after["median"] / BU_AC <= 137.6
    agrees("open maize log, fresh area [ac]", "exact union of polygons (shapely)", found.fresh_ha / 0.40468564, 66.34, 0.66)
