"""Made fields hold the truth they claim: every later test of an estimator stands on this."""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from lossmap.base.errors import SettingsError
from lossmap.base.field import FieldFacts
from lossmap.base.grid import Grid
from lossmap.base.reference import crop
from lossmap.base.settings import build
from lossmap.base.tables import COUNTS, POINTS, SOURCES
from lossmap.synthetic import (
    FT2_M2,
    OUTLINES,
    US_COLUMNS,
    FieldPlan,
    Layout,
    MadeField,
    Source,
    _gaussian,
    make,
    write,
)

SMALL = FieldPlan(length_m=260, breadth_m=170, stops=12)
QUIET = dataclasses.replace(SMALL, flow_noise=0.0, moisture_noise_pct=0.0, gnss_noise_m=0.0, header_up_rows=True)
FORMATS = ("csv", "geojson", "gpkg", "shp.zip", "parquet", "fgb")


@pytest.fixture(scope="module")
def quiet() -> MadeField:
    """A field whose sensors tell the truth, at once."""
    return make(QUIET, 5)


def _flow_at_cut(made: MadeField) -> np.ndarray:
    """Wet grain each record cut, by the truth [kg/s]."""
    records, points = made.truth.records, made.points
    market = crop(made.plan.crop).market_moisture_pct
    dry = records["yield_kg_ha"] / 10_000 * records["fresh_width_m"] * points["speed_m_s"]
    return (dry * (100 - market) / (100 - records["moisture_pct"])).to_numpy()


def test_same_seed_same_field() -> None:
    """Making is pure: plan and seed decide everything, and another seed another field."""
    one, two, other = make(SMALL, 3), make(SMALL, 3), make(SMALL, 4)
    pd.testing.assert_frame_equal(one.points, two.points)
    pd.testing.assert_frame_equal(one.counts, two.counts)
    assert not one.points["mass_flow_kg_s"].equals(other.points["mass_flow_kg_s"])


def test_making_leaves_the_global_random_state_alone() -> None:
    """No draw comes from numpy's global generator."""
    before = np.random.get_state()[1].copy()
    make(SMALL, 3)
    assert (np.random.get_state()[1] == before).all()


@pytest.mark.parametrize("outline", sorted(OUTLINES))
def test_tables_keep_their_contracts(outline: str) -> None:
    """Points and counts of every outline pass POINTS and COUNTS, in one metric CRS."""
    made = make(dataclasses.replace(SMALL, outline=outline), 1)
    POINTS.check(made.points)
    COUNTS.check(made.counts)
    assert made.points.crs == made.counts.crs == made.crs
    assert made.boundary.is_valid
    assert bool(made.boundary.interiors) == (outline == "holed")


@pytest.mark.parametrize("outline", sorted(OUTLINES))
@pytest.mark.parametrize("rounds", [0, 1])
def test_each_square_metre_is_cut_once(outline: str, rounds: int) -> None:
    """Freshly cut area adds up to the field's, whatever its outline (corners of rounds: 2 %)."""
    made = make(dataclasses.replace(QUIET, outline=outline, headland_rounds=rounds), 2)
    cut = (made.truth.records["fresh_width_m"] * made.points["distance_m"]).sum()
    assert cut == pytest.approx(made.boundary.area, rel=0.02)


def test_overlap_is_not_cut_twice() -> None:
    """With overlap the fresh width is the header less the overlap, and the area is still the field's."""
    made = make(dataclasses.replace(QUIET, overlap_m=1.5, headland_rounds=0), 2)
    records = made.truth.records
    cut = (records["fresh_width_m"] * made.points["distance_m"]).sum()
    inner = records[(records["pass_id"] > 0) & (records["pass_id"] < records["pass_id"].max())]
    assert cut == pytest.approx(made.boundary.area, rel=0.02)
    assert inner["fresh_width_m"].median() == pytest.approx(QUIET.header_width_m - 1.5, abs=QUIET.header_width_m / 18)


@pytest.mark.parametrize(("delay_s", "ramp_s", "interval_s"), [(0, 0, 1), (12, 2, 1), (12, 4, 3), (7.5, 2, 2)])
def test_mass_is_kept(delay_s: float, ramp_s: float, interval_s: float) -> None:
    """What was cut arrives at the sensor in the end, however late and smeared."""
    made = make(dataclasses.replace(QUIET, flow_delay_s=delay_s, ramp_s=ramp_s, log_interval_s=interval_s), 5)
    arrived = (made.points["mass_flow_kg_s"] * made.points["interval_s"]).sum()
    cut = (_flow_at_cut(made) * made.points["interval_s"]).sum()
    assert arrived == pytest.approx(cut, rel=0.005)


def test_yield_surface_is_what_was_cut(quiet: MadeField) -> None:
    """The mean of the true yield surface times the area is the dry mass in the tank."""
    dry = (100 - quiet.points["moisture_pct"]) / (100 - 13.0)
    tank = (quiet.points["mass_flow_kg_s"] * quiet.points["interval_s"] * dry).sum()
    surface = quiet.truth.surfaces["yield_kg_ha"].mean
    assert tank == pytest.approx(np.nanmean(surface) * quiet.boundary.area / 10_000, rel=0.02)


@pytest.mark.parametrize("delay_s", [0, 6, 12, 18])
def test_flow_is_late_by_the_planted_delay(delay_s: float) -> None:
    """Flow follows what was cut best when shifted by the delay; the ramp adds no lateness of its own."""
    made = make(dataclasses.replace(QUIET, flow_delay_s=delay_s), 5)
    cut, seen = _flow_at_cut(made), made.points["mass_flow_kg_s"].to_numpy()
    centre = [float(np.average(np.arange(len(flow)), weights=flow)) for flow in (cut, seen)]
    assert centre[1] - centre[0] == pytest.approx(delay_s, abs=0.1)


def test_moisture_is_late_by_its_own_delay() -> None:
    """Inside passes the sensor shows the moisture of the record cut that many seconds before."""
    made = make(dataclasses.replace(QUIET, moisture_delay_s=10), 5)
    passes, true = made.truth.records["pass_id"].to_numpy(), made.truth.records["moisture_pct"].to_numpy()
    same_pass = (passes[10:] == passes[:-10]) & (passes[10:] >= 0)
    seen = made.points["moisture_pct"].to_numpy()[10:]
    np.testing.assert_allclose(seen[same_pass], true[:-10][same_pass], atol=1e-9)


def test_flow_fills_and_empties_at_pass_ends(quiet: MadeField) -> None:
    """The ramp holds the first record of a pass well below its median."""
    records, flow = quiet.truth.records, quiet.points["mass_flow_kg_s"]
    starts = records["working"] & ~records["working"].shift(fill_value=False)
    first = flow[starts].median() / flow[records["working"]].median()
    assert 0.05 < first < 0.7


def test_moisture_falls_through_the_day(quiet: MadeField) -> None:
    """From the first tenth of the harvest to the last, the mean falls by about the planned drop."""
    moisture = quiet.truth.records.loc[quiet.truth.records["working"], "moisture_pct"].to_numpy()
    tenth = len(moisture) // 10
    fall = moisture[:tenth].mean() - moisture[-tenth:].mean()
    assert fall == pytest.approx(0.9 * QUIET.moisture_drop_pct, abs=3 * QUIET.moisture_sd_pct)


@pytest.mark.parametrize("two_ways", [True, False])
def test_directions(two_ways: bool) -> None:
    """Neighbouring passes run against each other, or all one way."""
    made = make(dataclasses.replace(QUIET, two_ways=two_ways, headland_rounds=0), 2)
    working = made.truth.records["working"]
    courses = made.points["heading_deg"][working].round().unique()
    assert sorted(courses) == ([20.0, 200.0] if two_ways else [20.0])


def test_records_are_in_step(quiet: MadeField) -> None:
    """Speed, distance, interval and the way from place to place agree, and time runs on evenly."""
    points = quiet.points
    np.testing.assert_allclose(points["distance_m"], points["speed_m_s"] * points["interval_s"])
    assert set(points["time"].diff().dropna()) == {pd.Timedelta(seconds=1)}
    step = np.hypot(points.geometry.x.diff(), points.geometry.y.diff())
    straight = quiet.truth.records["working"] & quiet.truth.records["working"].shift(fill_value=False)
    assert (step / points["distance_m"])[straight].median() == pytest.approx(1, abs=0.01)


def test_header_up_rows() -> None:
    """Turns are in the log with work 0 only where the plan asks for them."""
    with_turns, without = make(QUIET, 5), make(dataclasses.replace(QUIET, header_up_rows=False), 5)
    assert set(with_turns.points["work"]) == {0.0, 1.0}
    assert "work" not in without.points
    assert len(without.points) == int(with_turns.points["work"].sum())


def test_total_is_the_sum_of_the_sources(quiet: MadeField) -> None:
    """In every cell and at every stop."""
    truth = quiet.truth
    parts = sum(truth.surfaces[f"{source}_kg_ha"].mean for source in SOURCES)
    np.testing.assert_allclose(parts, truth.surfaces["total_kg_ha"].mean, rtol=1e-5)
    np.testing.assert_allclose(sum(truth.stops[f"{source}_kg_ha"] for source in SOURCES), truth.stops["total_kg_ha"], rtol=1e-5)
    assert sum(truth.mean_kg_ha[source] for source in SOURCES) == pytest.approx(truth.mean_kg_ha["total"], rel=1e-5)


@pytest.mark.parametrize("smooth", [True, False])
def test_gaussian_fields_have_the_planned_variance_and_range(smooth: bool) -> None:
    """Over many draws: mean 0, variance 1, correlation 0.37 at the range."""
    grid = Grid(None, 0.0, 0.0, 5.0, 60, 80)  # type: ignore[arg-type]
    draws = np.stack([_gaussian(grid, 60.0, smooth, np.random.default_rng(seed)) for seed in range(300)])
    assert draws.mean() == pytest.approx(0, abs=0.05)
    assert draws.var() == pytest.approx(1, abs=0.05)
    assert (draws[:, :, :-12] * draws[:, :, 12:]).mean() == pytest.approx(np.exp(-1), abs=0.06)


def test_sources_have_the_planned_mean() -> None:
    """Over many fields the mean of each source comes out as planned; one field may miss it."""
    plan = dataclasses.replace(SMALL, length_m=150, breadth_m=90, stops=2, header=Source(80, 0.3, 20), threshing=Source(18, 0.2, 20))
    means = np.mean([[made.truth.mean_kg_ha[source] for source in SOURCES] for made in (make(plan, seed) for seed in range(30))], axis=0)
    np.testing.assert_allclose(means, [12, 80, 18], rtol=0.1)


@pytest.mark.parametrize(("speed_effect", "dryness_effect"), [(1.49, 1.0), (1.0, 1.65), (2.22, 2.72)])
def test_effects_are_hinges_of_the_planted_height(speed_effect: float, dryness_effect: float) -> None:
    """Header loss over that of the same field without effects is the planted factor in every cell, and 1 on the free side."""
    plan = dataclasses.replace(SMALL, speed_effect=speed_effect, dryness_effect=dryness_effect)
    with_effect, without = make(plan, 6).truth, make(SMALL, 6).truth
    speed, moisture = (with_effect.surfaces[name].mean for name in ("speed_m_s", "moisture_pct"))
    expected = speed_effect ** (np.maximum(speed - 2.0, 0) / 0.5) * dryness_effect ** (np.maximum(13.0 - moisture, 0) / 2)
    found = with_effect.surfaces["header_kg_ha"].mean / without.surfaces["header_kg_ha"].mean
    np.testing.assert_allclose(found, expected, rtol=1e-4)
    for source in ("preharvest", "threshing"):
        np.testing.assert_array_equal(with_effect.surfaces[f"{source}_kg_ha"].mean, without.surfaces[f"{source}_kg_ha"].mean)


def test_shares_are_what_would_not_be_lost_at_the_knot() -> None:
    """With one effect only, its share is the difference to the field without it; the other's is 0."""
    fast = make(dataclasses.replace(SMALL, speed_effect=2.22), 6).truth
    none = make(SMALL, 6).truth
    assert fast.share_kg_ha["speed"] == pytest.approx(fast.mean_kg_ha["total"] - none.mean_kg_ha["total"], rel=1e-4)
    assert fast.share_kg_ha["dryness"] == 0 == none.share_kg_ha["speed"]


def test_effects_may_act_in_a_part_of_the_field() -> None:
    """`effect_area` is the share of cells where the effects act, and elsewhere nothing changes."""
    part = make(dataclasses.replace(SMALL, speed_effect=2.22, effect_area=0.4), 6).truth
    none = make(SMALL, 6).truth
    inside = np.isfinite(none.surfaces["total_kg_ha"].mean)
    assert part.acts.sum() / inside.sum() == pytest.approx(0.4, abs=0.01)
    calm = inside & ~part.acts
    np.testing.assert_array_equal(part.surfaces["total_kg_ha"].mean[calm], none.surfaces["total_kg_ha"].mean[calm])


@pytest.mark.parametrize(("clumping_r", "frames"), [(1.5, 1), (6.0, 4)])
def test_counts_have_the_planted_mean_and_clumping(clumping_r: float, frames: int) -> None:
    """Over many stops of an even field: mean density and var = m + m^2 / (r x frames), within 5 standard errors."""
    even = {source: Source(getattr(SMALL, source).mean_kg_ha, 0.0) for source in SOURCES}
    plan = dataclasses.replace(SMALL, clumping_r=clumping_r, frames=frames, stops=1200, **even)
    counts = make(plan, 8).counts
    seeds = counts.loc[counts["position"] == "behind_header", "seeds"]
    mean = (12 + 80) * 100 / plan.thousand_seeds_g * FT2_M2 * frames
    variance = mean + mean**2 / (clumping_r * frames)
    assert seeds.mean() == pytest.approx(mean, abs=5 * np.sqrt(variance / len(seeds)))
    assert seeds.var() == pytest.approx(variance, rel=0.25)


def test_only_what_the_machine_let_through_is_concentrated() -> None:
    """Behind the combine lies what lay before, plus threshing loss times header over discharge width."""
    even = {"preharvest": Source(30, 0.0), "header": Source(60, 0.0), "threshing": Source(25, 0.0)}
    plan = dataclasses.replace(SMALL, discharge_width_m=1.524, stops=800, **even)
    counts = make(plan, 8).counts
    per_kg = 100 / plan.thousand_seeds_g * FT2_M2 * plan.frames
    means = counts.groupby("position")["seeds"].mean() / per_kg
    assert means["before_header"] == pytest.approx(30, rel=0.08)
    assert means["behind_header"] == pytest.approx(90, rel=0.08)
    assert means["behind_combine"] == pytest.approx(90 + 6 * 25, rel=0.08)


def test_ears_carry_their_share() -> None:
    """Loose seeds and ears together are the loss, each in rows of their own."""
    even = {"preharvest": Source(50, 0.0), "header": Source(150, 0.0), "threshing": Source(25, 0.0)}
    plan = dataclasses.replace(SMALL, crop="corn", ears=0.4, ear_g=150, stops=600, **even)
    counts = make(plan, 8).counts
    at_header = counts[counts["position"] == "behind_header"]
    ears = at_header[at_header["ears"].notna()]
    seeds = at_header[at_header["seeds"].notna()]
    in_ears = (ears["ears"] * ears["grams_per_ear"] * 10 / ears["frame_m2"]).mean()
    in_seeds = (seeds["seeds"] * plan.thousand_seeds_g / 100 / seeds["frame_m2"]).mean()
    assert in_ears == pytest.approx(80, rel=0.08)
    assert in_seeds == pytest.approx(120, rel=0.08)
    assert counts.loc[counts["position"] == "behind_combine", "ears"].isna().all()


def test_weighed_seeds_are_grams_of_the_true_seed() -> None:
    """Weighing gives grams and no seeds; the true seed mass, not the stated one, is on the scale."""
    counted = make(dataclasses.replace(SMALL, seed_mass_g=180), 8).counts
    weighed = make(dataclasses.replace(SMALL, seed_mass_g=180, stated_seed_mass_g=150, weighed=True), 8).counts
    assert weighed["seeds"].isna().all()
    np.testing.assert_allclose(weighed["grams"], counted["seeds"] * 0.18, atol=0.051)


def test_spread_stops_see_more_of_the_drivers_than_random_ones() -> None:
    """Spread stops vary more in speed and moisture than random ones, in the mean over fields."""
    ratios = []
    for seed in range(6):
        spread, random = (make(dataclasses.replace(SMALL, design=design), seed).truth.stops for design in ("spread", "random"))
        ratios.append([spread[name].std() / random[name].std() for name in ("speed_m_s", "moisture_pct")])
    assert (np.mean(ratios, axis=0) > 1.1).all()


def test_stops_along_passes_lie_on_few_passes() -> None:
    """The convenient design stays on three passes."""
    made = make(dataclasses.replace(SMALL, design="passes", headland_rounds=0), 3)
    course = np.radians(made.plan.course_deg)
    across = made.truth.stops["easting_m"] * np.cos(course) - made.truth.stops["northing_m"] * np.sin(course)
    assert across.round(0).nunique() <= 3


@pytest.mark.parametrize("design", ["random", "spread", "passes"])
def test_stops_lie_where_the_combine_was_under_way(design: str) -> None:
    """Each stop is on cut land, away from the ends of passes, and counted within metres of its true place."""
    made = make(dataclasses.replace(QUIET, design=design, headland_rounds=0, stop_noise_m=2.0), 3)
    truth = made.truth.stops
    for stop in truth.itertuples():
        away = np.hypot(made.points.geometry.x - stop.easting_m, made.points.geometry.y - stop.northing_m)
        on_pass = made.truth.records["pass_id"] == made.truth.records["pass_id"][away.idxmin()]
        run = made.points["distance_m"][on_pass].cumsum()
        assert 14 <= run[away.idxmin()] <= run.iloc[-1] - 12
    first = made.counts.drop_duplicates("stop_id").set_index("stop_id").loc[truth["stop_id"]]
    off = np.hypot(first.geometry.x - truth["easting_m"].to_numpy(), first.geometry.y - truth["northing_m"].to_numpy())
    assert 0.5 < off.mean() < 5


def test_flaws_are_where_the_truth_says() -> None:
    """Each flaw stands in as many records as planned, and only those differ from the unspoilt field."""
    clean = make(SMALL, 4)
    spoilt = make(dataclasses.replace(SMALL, duplicates=9, jumps=7, spikes=5, stuck_moisture=80), 4)
    flaws = spoilt.truth.records["flaw"]
    assert flaws.value_counts()[["duplicate", "jump", "spike"]].tolist() == [9, 7, 5]
    once = spoilt.points[flaws != "duplicate"].reset_index(drop=True)
    named = flaws[flaws != "duplicate"].reset_index(drop=True)
    moved = once.geometry.distance(clean.points.geometry) > 1
    assert moved.sum() == 7
    assert (named[moved] == "jump").all()
    tripled = ~np.isclose(once["mass_flow_kg_s"], clean.points["mass_flow_kg_s"])
    assert (named[tripled] == "spike").all()
    assert tripled.sum() == 5
    assert once.loc[once["moisture_pct"] != clean.points["moisture_pct"]].shape[0] == 79


@pytest.mark.parametrize(
    ("part", "message"),
    [
        ({"outline": "bend"}, 'FieldPlan: outline "bend" is not known; did you mean bent?'),
        ({"positions": ("behind_heder",)}, 'FieldPlan: position "behind_heder" is not known; did you mean behind_header?'),
    ],
)
def test_plans_that_cannot_be_are_refused(part: dict[str, object], message: str) -> None:
    """A misspelt outline or position is named, with the nearest that exists."""
    with pytest.raises(SettingsError) as refusal:
        FieldPlan(**part)  # type: ignore[arg-type]
    assert str(refusal.value) == message


def test_a_field_narrower_than_the_header_is_refused() -> None:
    """No pass fits: said before anything is made."""
    with pytest.raises(SettingsError) as refusal:
        make(dataclasses.replace(SMALL, length_m=12, breadth_m=8), 1)
    assert str(refusal.value) == "FieldPlan: no pass fits into the outline; make it larger or the header narrower"


def _layout(kind: str) -> Layout:
    columns = {role: (name.split(" (")[0].split(" [")[0][:10].strip(), unit) for role, (name, unit) in US_COLUMNS.items()}
    return Layout(points=kind, columns=columns, explained=("mass_flow", "speed"), epsg=None if kind in ("csv", "geojson") else 32615)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", FORMATS)
def test_writing_twice_gives_the_same_bytes(kind: str, tmp_path: Path) -> None:
    """No file carries the time at which it was written, in any format."""
    made = make(SMALL, 4)
    written = []
    for folder in (tmp_path / "one", tmp_path / "two"):
        write(made, folder / "made", _layout(kind))
        written.append({path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted((folder / "made").iterdir())})
    assert written[0] == written[1]
    assert f"points.{kind}" in written[0]


@pytest.mark.parametrize("kind", FORMATS)
def test_files_hold_the_log(kind: str, tmp_path: Path) -> None:
    """Read back by a general-purpose library: same records in the same order, places within centimetres, units as stated."""
    made = make(SMALL, 4)
    write(made, tmp_path / "made", _layout(kind))
    path = tmp_path / "made" / f"points.{kind}"
    readers = {"csv": pd.read_csv, "parquet": gpd.read_parquet}
    table = readers.get(kind, gpd.read_file)(path)
    assert len(table) == len(made.points)
    np.testing.assert_allclose(table["Mass flow"], made.points["mass_flow_kg_s"] / 0.45359237, atol=6e-4)
    np.testing.assert_allclose(table["Speed"], made.points["speed_m_s"] / 0.44704, atol=6e-4)
    places = gpd.points_from_xy(table["Longitude"], table["Latitude"], crs="EPSG:4326").to_crs(made.crs)
    assert (places.distance(made.points.geometry.array) < 0.02).all()
    if kind != "csv":
        assert (table.to_crs(made.crs).geometry.distance(made.points.geometry) < 0.02).all()


def test_facts_are_what_a_field_needs(tmp_path: Path) -> None:
    """field.toml passes the model of a field's facts and says what the plan says."""
    plan = dataclasses.replace(SMALL, discharge_width_m=1.524, stated_seed_mass_g=160)
    write(make(plan, 4), tmp_path / "made", dataclasses.replace(_layout("csv"), facts={"name": 'Made "quarter"', "header": "draper"}))
    facts = build(FieldFacts, tomllib.loads((tmp_path / "made" / "field.toml").read_text()), "made/field.toml")
    assert facts.name == 'Made "quarter"'
    assert facts.crop == "soybean"
    assert facts.harvested_on == datetime.date(2025, 10, 18)
    assert facts.header_width == pytest.approx(9.144)
    assert facts.discharge_width == pytest.approx(1.524)
    assert facts.thousand_seed_mass == 160
    assert facts.points[0].columns["mass_flow"].unit == "lb/s"


def test_count_sheet_states_one_frame_and_how_many(tmp_path: Path) -> None:
    """Area of a frame times frames is the area looked at; columns nobody filled are not there."""
    made = make(SMALL, 4)
    write(made, tmp_path / "made", Layout(words={"seeds": "beans", "behind_header": "behind head"}))
    sheet = pd.read_csv(tmp_path / "made" / "counts.csv")
    np.testing.assert_allclose(sheet["frame_ft2"] * sheet["frames"] * FT2_M2, made.counts["frame_m2"], rtol=1e-3)
    assert sheet["beans"].tolist() == made.counts["seeds"].tolist()
    assert set(sheet["position"]) == {"before_header", "behind head", "behind_combine"}
    assert not {"ears", "grams"} & set(sheet.columns)


def test_a_role_that_is_none_is_refused(tmp_path: Path) -> None:
    """A layout with a misspelt role is refused before anything is written."""
    with pytest.raises(SettingsError) as refusal:
        write(make(SMALL, 4), tmp_path / "made", Layout(columns={"spede": ("Speed", "mph")}))
    assert str(refusal.value) == 'Layout: role "spede" is not known; did you mean speed?'
    assert not (tmp_path / "made").exists()
