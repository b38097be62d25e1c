"""The count model: planted fields and laws."""

import numpy as np
import pytest

from lossmap.surfaces.lattice import SLOPE_SD


def test_intervals_hold_planted_surfaces(planted, stops_and_cells, fitted, mapped):
    """Over 12 fields, 24 and 48 stops of 1 and 4 frames: 90 % intervals hold 82 to 97 % of cells."""
    held = []
    for rng_seed in range(12):
        rng = np.random.default_rng(rng_seed)
        field = planted.at_random(rng)
        for stops, frames in ((24, 1), (48, 1), (24, 4), (48, 4)):
            made = stops_and_cells(field, rng, stops, frames, cell_m=40.0)
            _, low, high = mapped(fitted(made), made)
            held.append(((low <= made["truth"]) & (made["truth"] <= high)).mean())
    assert 0.82 <= np.mean(held) <= 0.97


def test_surface_beats_the_field_mean(planted, stops_and_cells, fitted, mapped):
    """With 96 stops of 4 frames the error is below 0.8 of what one mean for all cells leaves."""
    errors = []
    for rng_seed in range(4):
        rng = np.random.default_rng(rng_seed)
        made = stops_and_cells(planted.at_random(rng), rng, 96, 4, cell_m=30.0)
        mean, _, _ = mapped(fitted(made), made)
        flat = made["seeds"].sum() / made["area"].sum()
        errors.append([np.sqrt(np.mean((part - made["truth"]) ** 2)) for part in (mean, flat)])
    surface, flat = np.mean(errors, axis=0)
    assert surface < 0.8 * flat


def test_strong_effects_are_found(planted, stops_and_cells, fitted):
    """Twice a moderate effect of both drivers, 64 stops of 4 frames: speed is found in 4 of 5 fields, with the right slope."""
    slopes, chances = [], []
    for rng_seed in range(5):
        rng = np.random.default_rng(rng_seed)
        made = stops_and_cells(planted.at_random(rng, speed_slope=1.6, dryness_slope=0.5), rng, 64)
        slope = fitted(made).slopes_["speed"]
        chances.append(slope.chance())
        slopes.append(slope.moments()[0])
    assert np.sum(np.array(chances) >= 0.98) >= 4
    assert np.mean(slopes) == pytest.approx(1.6, abs=0.4)


def test_no_effect_is_not_found(planted, stops_and_cells, fitted):
    """Without an effect at most 1 of 12 fields is flagged."""
    flagged = 0
    for rng_seed in range(12):
        rng = np.random.default_rng(100 + rng_seed)
        made = stops_and_cells(planted.at_random(rng), rng, 36)
        flagged += any(slope.chance() >= 0.98 for slope in fitted(made).slopes_.values())
    assert flagged <= 1


def test_permuted_stops_change_nothing(made, fitted, mapped):
    """The order of stops is of no account."""
    order = np.random.default_rng(0).permutation(30)
    mixed = {**made, **{name: made[name][order] for name in ("places", "seeds", "area", "speed", "moisture")}}
    for one, other in zip(mapped(fitted(made), made), mapped(fitted(mixed), mixed), strict=True):
        assert one == pytest.approx(other, rel=1e-6)


def test_moving_the_field_moves_the_map(made, fitted, mapped):
    """Places shifted by kilometres give the same values at the shifted cells."""
    away = np.array([400_000.0, 4_600_000.0])
    moved = {**made, "places": made["places"] + away, "cells": made["cells"] + away}
    for one, other in zip(mapped(fitted(made), made), mapped(fitted(moved), moved), strict=True):
        assert one == pytest.approx(other, rel=1e-4)


def test_units_of_area_are_of_no_account(made, fitted, mapped):
    """Areas in another unit scale the map and nothing else."""
    scaled = {**made, "area": made["area"] * 10.7639}
    for one, other in zip(mapped(fitted(made), made), mapped(fitted(scaled), scaled), strict=True):
        assert one == pytest.approx(other * 10.7639, rel=1e-6)


def test_more_seen_narrows_the_doubt(made, fitted):
    """Ten times the area and the seeds: less doubt at the stops, and narrower slopes to be expected."""
    few, many = fitted(made), fitted({**made, "area": made["area"] * 10, "seeds": made["seeds"] * 10})
    width = [
        np.log(high / low).mean()
        for _, low, high in (model.predict(made["places"], made["speed"], made["moisture"]) for model in (few, many))
    ]
    assert width[1] < width[0]
    for driver in ("speed", "dryness"):
        assert many.slopes_[driver].expected_sd < few.slopes_[driver].expected_sd


def test_groups_are_a_whole(made, fitted):
    """Weights of all models add to 1, and the mean knot lies among the knots."""
    model = fitted(made, knots=((1.5, 2.0, 2.5), (12.0, 13.0)))
    assert sum(group.weight for group in model.groups_.values()) == pytest.approx(1)
    assert 1.5 <= model.knots_["speed"] <= 2.5
    assert len(model.hinges_) == 5


def test_a_driver_that_never_acts_says_nothing(made, fitted):
    """A knot above every speed leaves the slope at its prior."""
    slope = fitted(made, knots=((9.0,), (13.0,))).slopes_["speed"]
    assert slope.chance() == pytest.approx(0.5)
    assert slope.moments()[1] == pytest.approx(SLOPE_SD["speed"])


@pytest.mark.parametrize("stops", [1, 2, 5])
def test_a_handful_of_stops_is_enough_to_run(made, stops, fitted, mapped):
    """From one stop on there is a finite map whose doubt is wide."""
    few = {**made, **{name: made[name][:stops] for name in ("places", "seeds", "area", "speed", "moisture")}}
    mean, low, high = mapped(fitted(few), few)
    assert np.isfinite(mean).all()
    assert (high / low > 1.5).all()


def test_nothing_found_is_little_everywhere(made, fitted, mapped):
    """No seed at any stop: a map near 0, not a failure."""
    none = {**made, "seeds": np.zeros(30)}
    mean, _, high = mapped(fitted(none), none)
    assert (mean < 1 / made["area"].sum()).all()
    assert (high < 10 / made["area"].sum()).all()


def test_parts_add_up_to_what_the_last_position_says(made, fitted, parted_model, mapped):
    """Likelihood at three positions tell about the same field mean as the last of them alone, and no less surely."""
    parted = parted_model(made)
    last = {**made, "seeds": parted.counted_.seeds[2::3]}
    one, other = mapped(fitted(last), made), mapped(parted, made)
    assert other[0].mean() == pytest.approx(one[0].mean(), rel=0.15)
    assert np.log(other[2] / other[1]).mean() < 1.1 * np.log(one[2] / one[1]).mean()


@pytest.mark.parametrize("every", [1, 3])
def test_parts_are_told_apart(made, every, parted_model):
    """Shares of a tenth, seven tenths and a fifth come back, also where two in three stops were counted behind the combine only."""
    found = []
    for rng_seed in range(4):
        model = parted_model(made, every, rng_seed)
        mean, _ = model.joint(made["cells"][::4], made["cell_speed"][::4], made["cell_moisture"][::4])
        weight = model.share_[:, None] * np.exp(mean)
        found.append((weight / weight.sum(axis=0)).mean(axis=1))
    assert np.mean(found, axis=0) == pytest.approx([0.1, 0.7, 0.2], abs=0.06)


def test_fewer_seeds_behind_than_in_front_still_divide(made, parted_model):
    """Fewer seeds behind the combine than in front of it by chance: finite latents, positive doubts."""
    odd = {**made, "seeds": np.floor(made["seeds"] * 0.9)}
    mean, covariance = parted_model(odd).joint(made["cells"][:40], made["cell_speed"][:40], made["cell_moisture"][:40])
    assert np.isfinite(mean).all()
    assert (np.einsum("kpkp->kp", covariance) > 0).all()
