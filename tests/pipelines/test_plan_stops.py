"""From a field's folder to its plan of stops: made fields before any count, after a few, and after a round."""

from __future__ import annotations

import dataclasses
import json
from contextlib import nullcontext

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from lossmap.base.errors import TooLittleData
from lossmap.base.settings import Settings, overridden
from lossmap.pipelines.map_field import made_map, map_field
from lossmap.pipelines.plan_stops import made_plan, plan_stops
from lossmap.read import read_field
from lossmap.surfaces.groups import MOST_COUNTS
from lossmap.synthetic import FieldPlan, make, write

PLAN = FieldPlan(stops=24, length_m=400, breadth_m=250, speed_effect=1.49)


def silent(name):
    """A stage that says nothing."""
    return nullcontext()


def without(folder, *parts):
    """Take the tables [[points]] or [[counts]], or the line `boundary`, out of a field.toml."""
    lines, kept = (folder / "field.toml").read_text().splitlines(), []
    skipping = False
    for line in lines:
        if line.startswith("["):
            skipping = any(line == f"[[{part}]]" for part in parts) or (skipping and line.startswith("[points."))
        if not skipping and not any(line.startswith(f"{part} =") for part in parts):
            kept.append(line)
    (folder / "field.toml").write_text("\n".join(kept) + "\n")
    return folder


@pytest.fixture(scope="module")
def made():
    """A made field of 10 ha with 24 random stops."""
    return make(PLAN, 21)


@pytest.fixture
def folder(made, tmp_path):
    """Its folder, as a farmer would have it."""
    write(made, tmp_path / "fields" / "creek")
    return tmp_path / "fields" / "creek"


def planned(folder, number=24, *more):
    """The plan of a folder, so many stops, under further settings."""
    return made_plan(read_field(folder), asked(f"stops.number={number}", *more), silent)


def asked(*assignments):
    """The defaults, each assignment laid over them."""
    return Settings.model_validate(overridden({}, assignments))


def test_before_any_count_stops_are_spread(made, folder):
    """On cut ground, off the edge by half a header, over the whole range of speeds and moistures; named P1 on."""
    plan = planned(without(folder, "counts"))
    assert plan.basis == ("place", "speed", "dryness")
    assert plan.stops["stop"].tolist() == [f"P{number}" for number in range(1, 25)]
    places = plan.stops.geometry.to_crs(made.crs)
    assert shapely.contains(shapely.buffer(made.boundary, -4.5), places.to_numpy()).all()
    assert places.apply(lambda place: places.distance(place).nlargest(23).min()).min() > 5
    for column in ("speed_m_s", "moisture_pct"):
        truth = made.truth.surfaces[column].mean
        low, high = np.nanquantile(truth, (0.1, 0.9))
        assert plan.stops[column].min() < low
        assert plan.stops[column].max() > high


def test_the_speed_told_is_that_of_the_pass(made, folder):
    """What the plan says is what the ground was truly cut at: speed at nine stops in ten, moisture, smoothed over passes, at eight."""
    plan = planned(without(folder, "counts"))
    at = shapely.get_coordinates(plan.stops.geometry.to_crs(made.crs).to_numpy()).T
    for column, within, share in (("speed_m_s", 0.15, 0.9), ("moisture_pct", 0.5, 0.8)):
        truth = made.truth.surfaces[column].at(*at)
        assert np.nanmean(np.abs(plan.stops[column] - truth) < within) >= share


def test_nobody_is_sent_into_standing_crop(made, folder):
    """With half of the log, stops lie on the half that is cut, though the boundary holds all."""
    log = made.points.to_crs("EPSG:4326")
    half = dataclasses.replace(made, points=made.points.iloc[: len(log) // 2].reset_index(drop=True))
    write(half, folder)
    plan = planned(without(folder, "counts"), 40)
    cut = shapely.buffer(shapely.MultiPoint(half.points.geometry.to_crs(plan.stops.crs).to_numpy()), PLAN.header_width_m / 2)
    assert shapely.contains(cut, plan.stops.geometry.to_numpy()).all()
    assert shapely.area(cut) < 0.7 * made.boundary.area


def test_without_a_log_stops_are_spread_over_the_boundary(made, folder):
    """Place alone, inside the boundary, and the page says that nobody knows what is cut."""
    plan = planned(without(folder, "counts", "points"), 9)
    assert plan.basis == ("place",)
    assert plan.notes == (
        "no log tells which ground is cut, how fast or how dry: stops are spread over place alone; go only where the crop is off",
    )
    assert shapely.contains(made.boundary, plan.stops.geometry.to_crs(made.crs).to_numpy()).all()
    assert "speed_m_s" not in plan.stops
    assert len(set(plan.stops["part"])) >= 7


def test_without_a_boundary_the_cut_area_is_the_field(made, folder):
    """A log alone is enough."""
    plan = planned(without(folder, "counts", "boundary"), 12)
    assert shapely.contains(made.boundary, plan.stops.geometry.to_crs(made.crs).to_numpy()).all()


def test_few_stops_are_kept_away_from(made, folder):
    """Five stops are too few for a model: the plan is spread, away from them, and its names go on behind theirs."""
    named = {stop: f"P{number}" for number, stop in enumerate(made.counts["stop_id"].unique(), 1)}
    few = made.counts.assign(stop_id=made.counts["stop_id"].map(named))
    few = few[few["stop_id"].isin([f"P{number}" for number in range(1, 6)])].reset_index(drop=True)
    write(dataclasses.replace(made, counts=few), folder)
    plan = planned(folder, 10)
    assert not plan.is_fitted
    assert plan.counted == 5
    assert plan.stops["stop"].tolist() == [f"P{number}" for number in range(6, 16)]
    assert plan.stops.distance(few.geometry.to_crs(plan.stops.crs).union_all()).min() > PLAN.header_width_m


def test_after_a_round_the_open_verdict_decides(made, folder):
    """With 24 random stops the verdicts are open: stops go where they settle it, and how many it takes is told."""
    plan = planned(folder, 8)
    assert plan.is_fitted
    assert plan.counted == 24
    assert plan.needed
    assert plan.basis == ("place", *plan.needed)
    assert {"speed", "dryness"} & set(plan.stops["reason"])
    assert all(number is None or number >= 1 for number in plan.needed.values())
    assert plan.stops.distance(made.counts.geometry.to_crs(plan.stops.crs).union_all()).min() > PLAN.header_width_m


def test_as_many_stops_as_are_needed_do(tmp_path):
    """Planned, counted and mapped again: the verdicts that were open are given, with no more stops than the map asked for."""
    plan = dataclasses.replace(PLAN, stops=16)
    made = make(plan, 30)
    write(made, tmp_path / "creek")
    before = made_map(read_field(tmp_path / "creek"), Settings(), silent).drivers
    needed = planned(tmp_path / "creek", 1).needed
    number = max(needed.values())
    assert needed
    assert all(16 + needed[name] < before[name].stops_needed for name in needed)
    write(counted_at(made, planned(tmp_path / "creek", number).stops), tmp_path / "again" / "creek")
    after = made_map(read_field(tmp_path / "again" / "creek"), Settings(), silent).drivers
    assert all(after[name].verdict != "not enough counts" for name in needed)
    assert {after[name].stops for name in needed} == {16 + number}


def counted_at(made, stops, rng_seed=0):
    """The made field with counts at planned stops too, drawn from what truly lies there."""
    rng, places = np.random.default_rng(rng_seed), stops.geometry.to_crs(made.crs)
    at = shapely.get_coordinates(places.to_numpy()).T
    lies = [made.truth.surfaces[f"{source}_kg_ha"].at(*at) for source in ("preharvest", "header", "threshing")]
    one = made.counts.iloc[:1].geometry
    rows = []
    for position, kg_ha in zip(("before_header", "behind_header", "behind_combine"), np.cumsum(lies, axis=0), strict=True):
        like = made.counts[made.counts["position"] == position].iloc[0]
        seeds = rng.poisson(rng.gamma(20, 1 / 20, len(at[0])) * kg_ha * 100 / made.plan.thousand_seeds_g * like["frame_m2"])
        rows += [{**like, "stop_id": stop, "seeds": float(number)} for stop, number in zip(stops["stop"], seeds, strict=True)]
    more = gpd.GeoDataFrame(rows, geometry=[*places.to_crs(one.crs)] * 3, crs=one.crs)
    return dataclasses.replace(made, counts=pd.concat([made.counts, more], ignore_index=True))


def test_stops_where_all_were_cut_alike(made, folder):
    """Where every counted stop was cut at one speed the next ones go to others."""
    many = make(dataclasses.replace(PLAN, stops=120), 22)
    alike = many.truth.stops.loc[(many.truth.stops["speed_m_s"] - 1.7).abs() < 0.12, "stop_id"].tolist()[:12]
    assert len(alike) == 12
    write(dataclasses.replace(many, counts=many.counts[many.counts["stop_id"].isin(alike)].reset_index(drop=True)), folder)
    plan = planned(folder, 6)
    assert plan.is_fitted
    assert "speed" in plan.needed
    assert plan.stops["speed_m_s"].max() > 2.2


def test_many_counts_are_thinned_for_the_model_only(made, folder):
    """Beyond the most counts the map's model brings stops together, and the plan still rests on all."""
    many = make(dataclasses.replace(PLAN, stops=120), 22)
    assert len(many.counts) > MOST_COUNTS
    write(many, folder)
    plan = planned(folder, 5)
    assert plan.counted == 120
    assert len(plan.stops) == 5


def test_the_same_field_gives_the_same_plan(folder, tmp_path):
    """Byte for byte."""
    without(folder, "counts")
    for name in ("a", "b"):
        plan_stops(folder, Settings(), tmp_path / name)
    for file in ("stops-plan.geojson", "stops-plan.gpx", "count-sheet.html"):
        assert (tmp_path / "a" / "creek" / file).read_bytes() == (tmp_path / "b" / "creek" / file).read_bytes()


def test_plan_and_map_live_together(folder, tmp_path):
    """A plan leaves a map as it was, and a map made after it keeps the plan."""
    map_field(folder, Settings(), tmp_path / "out")
    results = tmp_path / "out" / "creek"
    before = {path.name: path.read_bytes() for path in results.iterdir()}
    done = plan_stops(folder, asked("stops.number=4"), tmp_path / "out")
    assert done.file == results / "count-sheet.html"
    after = {path.name: path.read_bytes() for path in results.iterdir()}
    plan = {name: after.pop(name) for name in ("stops-plan.geojson", "stops-plan.gpx", "count-sheet.html")}
    assert after == before
    map_field(folder, Settings(), tmp_path / "out")
    assert {name: (results / name).read_bytes() for name in plan} == plan


def test_more_stops_than_ground(folder):
    """As many as there is room for, and a note that says so."""
    plan = planned(without(folder, "counts", "points"), 400, 'grid.cell="50 m"')
    assert 10 < len(plan.stops) < 60
    assert plan.notes[-1] == f"there is room for {len(plan.stops)} stops only (400 were asked for)"


def test_a_strip_narrower_than_a_header(made, folder):
    """Where no ground lies off the edge stops are given all the same, with a word of it."""
    strip = {"type": "Polygon", "coordinates": [[[-94.0, 42.0], [-93.998, 42.0], [-93.998, 42.00005], [-94.0, 42.00005], [-94.0, 42.0]]]}
    (folder / "boundary.geojson").write_text(json.dumps(strip))
    plan = planned(without(folder, "counts", "points"), 3)
    assert len(plan.stops) == 3
    assert plan.notes[1] == "the field is too narrow to keep stops off its edge: step in from it"


@pytest.mark.parametrize("counted", [True, False])
def test_frames_are_as_many_as_set(folder, counted):
    """stops.frames stands in the plan, counted before or not; more of them settle a verdict in no more stops."""
    place = folder if counted else without(folder, "counts")
    few, many = (planned(place, 4, f"stops.frames={frames}") for frames in (1, 12))
    assert set(few.stops["frames"]) == {1}
    assert set(many.stops["frames"]) == {12}
    assert few.needed.keys() == many.needed.keys()
    assert all(few.needed[name] is None or many.needed[name] <= few.needed[name] for name in few.needed)
    assert counted == bool(few.needed)


@pytest.mark.parametrize("counts", [(), ("counts",)])
def test_neither_log_nor_boundary_is_refused(folder, counts):
    """There is no ground to choose from, counted or not."""
    with pytest.raises(TooLittleData) as refused:
        planned(without(folder, "points", "boundary", *counts))
    assert str(refused.value) == (
        "creek/field.toml: names neither a log nor a boundary, so there is no ground to place stops on; "
        'add boundary = "boundary.geojson", or a [[points]] with path = "points.csv"'
    )


def test_a_boundary_elsewhere_is_refused(folder):
    """A log that lies outside the boundary leaves no ground, or is refused by the cleaning before; never a plan."""
    strip = {"type": "Polygon", "coordinates": [[[-90.0, 42.0], [-89.998, 42.0], [-89.998, 42.002], [-90.0, 42.002], [-90.0, 42.0]]]}
    (folder / "boundary.geojson").write_text(json.dumps(strip))
    with pytest.raises(TooLittleData):
        planned(without(folder, "counts"))


@pytest.mark.parametrize("counted", [True, False])
def test_a_log_without_moisture(folder, counted):
    """What the log does not know is not chosen by, counted or not, and that is said; the rest of the plan stands."""
    log = pd.read_csv(folder / "points.csv")
    log[[name for name in log if "moisture" not in name.lower()]].to_csv(folder / "points.csv", index=False)
    plan = planned(folder if counted else without(folder, "counts"), 5)
    assert plan.notes == ("the log has no moisture, so stops are not chosen by it",)
    assert "moisture_pct" not in plan.stops
    assert "dryness" not in plan.basis
    assert plan.is_fitted == counted
    assert len(plan.stops) == 5


@pytest.mark.parametrize("counted", [True, False])
def test_a_log_of_places_and_yield_alone(folder, counted):
    """Without moisture, and without times or distances from which speed could be told, place decides alone."""
    log = pd.read_csv(folder / "points.csv")
    kept = log[[name for name in log if name.lower().startswith(("longitude", "latitude", "easting", "northing"))]]
    kept.assign(**{"yield (kg/ha)": 3500.0 + 10 * (np.arange(len(kept)) % 7)}).to_csv(folder / "points.csv", index=False)
    plan = planned(folder if counted else without(folder, "counts"), 5)
    assert plan.basis == ("place",)
    assert set(plan.stops["reason"]) == {"place"}
    assert len(plan.stops) == 5


def test_a_reference_that_is_set_is_the_knot(folder):
    """With zones.speed_above the verdict on speed waits for stops beyond it, and they are found there."""
    plan = planned(folder, 4, 'zones.speed_above="2.3 m/s"', 'zones.moisture_below="11 %"')
    assert plan.is_fitted
    chosen = plan.stops[plan.stops["reason"] == "speed"]
    assert "speed" in plan.needed
    assert (chosen["speed_m_s"] > 2.3).all()
    assert len(chosen)
