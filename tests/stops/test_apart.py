"""Stops before any count: laws of the choice, and that it beats chance on made fields."""

from __future__ import annotations

import dataclasses

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from stops.made_ground import doubt_of, ground_of, made_ground

from lossmap.stops import farthest, next_stops, spread

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
