"""Stops after a first round: the choice is the best there is, and goes where a verdict is open."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stops.made_ground import by_inverse, doubt_of, ground_of, made_ground

from lossmap.stops import next_stops, spread

seeds = st.integers(0, 2**32 - 1)
some = settings(max_examples=25)


def what_is_shrunk(ground, doubt, rows):
    """The sum that `next_stops` makes small, by plain solves."""
    slopes, surface = by_inverse(ground, doubt, rows)
    verdicts = [
        max(variance / driver.wanted_sd**2, 1.0) for variance, driver in zip(slopes, doubt.drivers, strict=True) if driver.undecided
    ]
    return sum(verdicts) + surface / by_inverse(ground, doubt, [])[1]


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
