"""Where to count next: laws of the choice, and that it beats chance on made fields."""

from __future__ import annotations

import dataclasses

import numpy as np
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossmap import synthetic
from lossmap.base.logloss import CountDoubt, DriverDoubt, Hinge
from lossmap.stops import Ground, Picked, farthest, next_stops, plan_table, spread

CRS = pyproj.CRS.from_epsg(32615)


def ground_of(rng_seed, places=60, known=True):
    """Made ground: cell centres in a strip of 600 m by 300 m, with a speed for each and drier eastwards."""
    rng = np.random.default_rng(rng_seed)
    cells = rng.choice(120 * 60, places, replace=False)
    places_m = np.column_stack([412_002.5 + 5.0 * (cells % 120), 4_655_002.5 + 5.0 * (cells // 120)])
    speed = rng.choice([1.4, 1.7, 2.0, 2.3, 2.6], places) + rng.normal(0, 0.05, places)
    moisture = 15 - 4 * (places_m[:, 0] - 412_000) / 600 + rng.normal(0, 0.3, places)
    return Ground(CRS, places_m, speed if known else None, moisture if known else None)


def doubt_of(ground, counted, wanted=(0.276, 0.087), undecided=(True, True)):
    """What a round at the rows `counted` leaves in doubt."""
    drivers = (
        DriverDoubt(Hinge("speed", 2.0), ground.speed[counted], 1.2, wanted[0], undecided[0]),
        DriverDoubt(Hinge("dryness", 13.0), ground.moisture[counted], 0.4, wanted[1], undecided[1]),
    )
    return CountDoubt(0.45, 80.0, 1.0, ground.places_m[counted], np.full(len(counted), 2.5), 2.5, drivers)


def by_inverse(ground, doubt, rows):
    """Slope variances and mean variance of log loss after further stops at `rows`, by one plain solve of the whole model."""
    values = {"speed": ground.speed, "dryness": ground.moisture}
    hinges = np.column_stack(
        [driver.hinge.of(np.clip(values[driver.name], *np.quantile(values[driver.name], (0.005, 0.995)))) for driver in doubt.drivers]
    )
    at_stops = np.column_stack([driver.hinge.of(driver.at_stops) for driver in doubt.drivers])
    design = np.vstack([at_stops, hinges[rows]])
    places = np.vstack([doubt.places_m, ground.places_m[rows]])
    noise = 1 / np.append(doubt.precision, np.full(len(rows), doubt.stop_precision))
    prior = np.array([driver.prior_sd**2 for driver in doubt.drivers])

    def covariance(one_m, one, other_m, other):
        away = np.hypot(*(one_m[:, None] - other_m[None]).transpose(2, 0, 1))
        return doubt.sd**2 * np.exp(-away / doubt.range_m) + doubt.level_sd**2 + (one * prior) @ other.T

    inverse = np.linalg.inv(covariance(places, design, places, design) + np.diag(noise))
    to_slopes, to_places = design * prior, covariance(places, design, ground.places_m, hinges)
    slopes = prior - np.einsum("ij,ik,kj->j", to_slopes, inverse, to_slopes)
    before = doubt.sd**2 + doubt.level_sd**2 + hinges**2 @ prior
    return slopes, float((before - np.einsum("ij,ik,kj->j", to_places, inverse, to_places)).mean())


def what_is_shrunk(ground, doubt, rows):
    """The sum that `next_stops` makes small, by plain solves."""
    slopes, surface = by_inverse(ground, doubt, rows)
    verdicts = [
        max(variance / driver.wanted_sd**2, 1.0) for variance, driver in zip(slopes, doubt.drivers, strict=True) if driver.undecided
    ]
    return sum(verdicts) + surface / by_inverse(ground, doubt, [])[1]


seeds = st.integers(0, 2**32 - 1)
some = settings(max_examples=25)


@given(seeds, st.integers(1, 80), st.integers(0, 8))
def test_chosen_rows_are_free_and_different(rng_seed, number, stops):
    """Rows come once each, lie in the ground, are none that is taken, and are as many as asked for or as there are."""
    ground = ground_of(rng_seed)
    taken = np.random.default_rng(rng_seed).choice(len(ground), stops, replace=False)
    index = spread(ground.places_m, ground.speed, ground.moisture, number, taken)
    assert len(set(index.tolist())) == len(index) == min(number, len(ground) - stops)
    assert set(index.tolist()) <= set(range(len(ground))) - set(taken.tolist())


@some
@given(seeds, st.integers(-400, 400), st.integers(-400, 400))
def test_moving_the_field_moves_nothing(rng_seed, east, north):
    """The same stops are chosen kilometres away, by both ways of choosing, and the same again when asked twice."""
    ground = ground_of(rng_seed)
    moved = dataclasses.replace(ground, places_m=ground.places_m + 5.0 * np.array([east, north]))
    chosen = spread(ground.places_m, ground.speed, ground.moisture, 12)
    assert (spread(moved.places_m, moved.speed, moved.moisture, 12) == chosen).all()
    assert (spread(ground.places_m, ground.speed, ground.moisture, 12) == chosen).all()
    one, other = (next_stops(each, doubt_of(each, np.arange(9)), 6) for each in (ground, moved))
    assert (one.index == other.index).all()


@some
@given(seeds, st.integers(1, 12))
def test_fewer_stops_are_the_first_of_more(rng_seed, number):
    """Rank is usefulness: a shorter plan is the beginning of a longer one."""
    ground = ground_of(rng_seed)
    assert (farthest(ground, 20).index[:number] == farthest(ground, number).index).all()
    doubt = doubt_of(ground, np.arange(9))
    assert (next_stops(ground, doubt, 12).index[:number] == next_stops(ground, doubt, number).index).all()


@given(seeds, st.floats(0.2, 5), st.floats(-3, 3))
def test_units_of_speed_and_moisture_do_not_matter(rng_seed, factor, shift):
    """Each driver counts by its own spread, so other units of it choose the same stops."""
    ground = ground_of(rng_seed)
    index = spread(ground.places_m, factor * ground.speed + shift, ground.moisture, 10)
    assert (index == spread(ground.places_m, ground.speed, ground.moisture, 10)).all()


def test_each_stop_is_the_farthest_from_those_before():
    """On a line without drivers: the middle, the ends, then the middles between."""
    line = np.column_stack([np.arange(9) * 10.0, np.zeros(9)])
    assert spread(line, None, None, 5).tolist() == [4, 0, 8, 2, 6]


def test_unknown_speeds_pull_nowhere():
    """A place whose speed nobody knows is like one of middling speed; a driver that never changes is no driver."""
    ground = ground_of(3)
    gaps = np.where(np.arange(60) % 7 == 0, np.nan, ground.speed)
    assert len(set(spread(ground.places_m, gaps, None, 20).tolist())) == 20
    by_place = spread(ground.places_m, None, None, 20)
    assert (spread(ground.places_m, np.full(60, 2.0), np.full(60, np.nan), 20) == by_place).all()


def test_one_odd_record_is_not_ground():
    """A single cell of an impossible speed pulls no more than the field's usual extremes."""
    ground = ground_of(4, places=2000)
    odd = ground.speed.copy()
    odd[17] = 40.0
    assert (spread(ground.places_m, odd, None, 10) == spread(ground.places_m, np.where(odd > 10, ground.speed.max(), odd), None, 10)).all()


@some
@given(seeds)
def test_the_first_stop_is_the_best_of_all(rng_seed):
    """One greedy pick equals trying every place with a plain solve of the whole model."""
    ground = ground_of(rng_seed, places=30)
    doubt = doubt_of(ground, np.arange(6))
    tried = [what_is_shrunk(ground, doubt, [row]) for row in range(30)]
    assert tried[next_stops(ground, doubt, 1).index[0]] == pytest.approx(min(tried), rel=1e-9)


@some
@given(seeds)
def test_updates_agree_with_the_whole_model(rng_seed):
    """After eight rank-one updates the doubt is that of one plain solve with all stops; the reason is a part of the sum."""
    ground = ground_of(rng_seed, places=40)
    doubt = doubt_of(ground, np.arange(6))
    picked = next_stops(ground, doubt, 8)
    slopes, surface = by_inverse(ground, doubt, picked.index)
    assert picked.slope_sd["speed"][-1] ** 2 == pytest.approx(slopes[0], rel=1e-8)
    assert picked.slope_sd["dryness"][-1] ** 2 == pytest.approx(slopes[1], rel=1e-8)
    assert picked.surface_sd[-1] ** 2 == pytest.approx(surface, rel=1e-8)
    assert set(picked.reasons) <= {"place", "speed", "dryness"}


@some
@given(seeds, st.integers(0, 9))
def test_a_stop_never_adds_doubt(rng_seed, counted):
    """Every further stop leaves each slope and the map as sure or surer, from no stop on."""
    ground = ground_of(rng_seed)
    picked = next_stops(ground, doubt_of(ground, np.arange(counted)), 10)
    for course in (*picked.slope_sd.values(), picked.surface_sd):
        assert (np.diff(course) <= 1e-12).all()


@some
@given(seeds)
def test_a_verdict_among_several_models_is_their_mean(rng_seed):
    """The variance that a verdict waits for is the mean over the models that the counts leave open."""
    ground = ground_of(rng_seed, places=30)
    doubt = doubt_of(ground, np.arange(6))
    rough = dataclasses.replace(doubt, sd=0.9, range_m=30.0)
    both = next_stops(ground, doubt, 1, among=(doubt, rough))
    apart = [by_inverse(ground, each, both.index)[0][0] for each in (doubt, rough)]
    assert both.slope_sd["speed"][1] ** 2 == pytest.approx(np.mean(apart), rel=1e-8)


def test_what_is_wanted_decides():
    """Stops go to the verdict that is open: fast ground for speed, dry ground for dryness, and the map alone where none is."""
    ground = ground_of(1, places=800)
    counted = np.arange(12)
    picked = {
        name: next_stops(ground, doubt_of(ground, counted, undecided=undecided), 6)
        for name, undecided in {"speed": (True, False), "dryness": (False, True), "map": (False, False)}.items()
    }
    assert ground.speed[picked["speed"].index].mean() > 2.3
    assert ground.moisture[picked["dryness"].index].mean() < 12.5
    assert picked["speed"].reasons[0] == "speed"
    assert picked["dryness"].reasons[0] == "dryness"
    assert set(picked["map"].reasons) == {"place"}
    assert picked["map"].needed == {}
    assert picked["map"].surface_sd[-1] < min(picked["speed"].surface_sd[-1], picked["dryness"].surface_sd[-1])


def test_how_many_it_takes():
    """`needed` is the first number at which the slope is sure enough, beyond the plan's own length too, and None beyond reach."""
    ground = ground_of(1, places=800)
    doubt = doubt_of(ground, np.arange(12), undecided=(True, False))
    needed = next_stops(ground, doubt, 2).needed["speed"]
    course = next_stops(ground, doubt, needed).slope_sd["speed"]
    assert course[needed] <= 0.276 < course[needed - 1]
    assert needed > 2
    assert next_stops(ground, doubt_of(ground, np.arange(12), wanted=(0.01, 0.087)), 2).needed["speed"] is None
    assert next_stops(ground, doubt_of(ground, np.arange(12), wanted=(9.0, 0.087)), 2).needed["speed"] == 1


def test_stops_keep_apart():
    """No stop nearer than asked to one counted or chosen before; when no such ground is left there are no more."""
    ground = ground_of(2, places=400)
    counted = np.arange(10)
    picked = next_stops(ground, doubt_of(ground, counted), 100, apart_m=60.0)
    places = np.vstack([ground.places_m[counted], ground.places_m[picked.index]])
    away = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))[10:]
    away[np.arange(len(away)), 10 + np.arange(len(away))] = np.inf
    assert away.min() >= 60
    assert len(picked.index) < 100


def test_a_large_field_is_thinned():
    """Beyond the most candidates rows still are the ground's own, and speak of it."""
    ground = ground_of(5, places=7000)
    picked = next_stops(ground, doubt_of(ground, np.arange(12), undecided=(True, False)), 4)
    assert picked.index.max() < 7000
    assert ground.speed[picked.index].mean() > 2.3


def test_the_table_says_where_and_how():
    """Names go on behind counted ones, parts of the field and shares of the ground are right, the nearest is counted or of higher rank."""
    places_m = np.array([[0.0, 0.0], [100.0, 100.0], [200.0, 200.0], [100.0, 0.0]]) + np.array([412_000.0, 4_655_000.0])
    ground = Ground(CRS, places_m, np.array([1.0, 2.0, 3.0, np.nan]), None)
    picked = Picked(np.array([2, 1, 3]), ("speed", "place", "place"))
    table = plan_table(ground, picked, places_m[:1], ["P7", " p003 ", "north", "P123456"], 4)
    assert table["stop"].tolist() == ["P8", "P9", "P10"]
    assert table["rank"].tolist() == [1, 2, 3]
    assert table["part"].tolist() == ["north-east", "middle", "south"]
    assert table["nearest_m"].tolist() == pytest.approx([200 * 2**0.5, 100 * 2**0.5, 100.0])
    assert table["speed_rank_pct"].tolist() == pytest.approx([100 * 5 / 6, 50.0, np.nan], nan_ok=True)
    assert "moisture_pct" not in table


def test_the_first_of_all_has_no_neighbour():
    """Before any count the most useful stop has nothing near it, and is told so by a gap."""
    ground = ground_of(6, known=False)
    table = plan_table(ground, farthest(ground, 3), np.empty((0, 2)), (), 4)
    assert np.isnan(table["nearest_m"].iloc[0])
    assert table["nearest_m"].iloc[1:].notna().all()
    assert set(table["reason"]) == {"place"}


def made_ground(rng_seed):
    """The ground of a made field of 20 ha, as it was truly cut."""
    field = synthetic.make(synthetic.FieldPlan(length_m=600.0, breadth_m=330.0, stops=1, headland_rounds=0), rng_seed)
    layers = [field.truth.surfaces[name] for name in ("speed_m_s", "moisture_pct")]
    is_cut = np.isfinite(layers[0].mean) & np.isfinite(layers[1].mean)
    east, north = np.meshgrid(*layers[0].grid.centres())
    return Ground(field.crs, np.column_stack([east[is_cut], north[is_cut]]), *(layer.mean[is_cut].astype(float) for layer in layers))


def test_spread_stops_beat_random_ones():
    """On made fields 24 spread stops know slopes to 0.65 (speed) and 0.75 (dryness) of the sd of random ones, the map to 0.97."""
    spread_sd, random_sd = [], []
    for rng_seed in range(40, 46):
        ground, rng = made_ground(rng_seed), np.random.default_rng(rng_seed)
        designs = [farthest(ground, 24).index, *(rng.choice(len(ground), 24, replace=False) for _ in range(4))]
        found = []
        for rows in designs:
            doubt = doubt_of(ground, rows, undecided=(False, False))
            # slopes as the counts alone tell them, without help from the prior
            wide = tuple(dataclasses.replace(driver, prior_sd=100.0) for driver in doubt.drivers)
            slopes = next_stops(ground, dataclasses.replace(doubt, drivers=wide), 0).slope_sd
            found.append([slopes["speed"][0], slopes["dryness"][0], next_stops(ground, doubt, 0).surface_sd[0]])
        spread_sd.append(found[0])
        random_sd.append(np.mean(found[1:], axis=0))
    speed, dryness, surface = np.mean(spread_sd, axis=0) / np.mean(random_sd, axis=0)
    assert speed <= 0.65
    assert dryness <= 0.75
    assert surface <= 0.97


def test_chosen_stops_beat_spread_and_random_ones_after_a_round():
    """After 24 random stops on a made field, 12 chosen ones settle the slopes better than 12 spread or random ones."""
    ground, rng = made_ground(50), np.random.default_rng(50)
    counted = rng.choice(len(ground), 24, replace=False)
    doubt = doubt_of(ground, counted)

    def after(rows):
        every = np.concatenate([counted, rows])
        slopes = next_stops(ground, doubt_of(ground, every, undecided=(False, False)), 0).slope_sd
        return slopes["speed"][0] / 0.276 + slopes["dryness"][0] / 0.087

    chosen = after(next_stops(ground, doubt, 12, apart_m=9.0).index)
    assert chosen < after(spread(ground.places_m, ground.speed, ground.moisture, 12, counted))
    assert chosen < 0.9 * np.mean([after(rng.choice(len(ground), 12, replace=False)) for _ in range(5)])
