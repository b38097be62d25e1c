"""The count model: planted fields, laws, and the long way round."""

import numpy as np
import pytest

from lossmap.surfaces import counts as module
from lossmap.surfaces.counts import LATTICE, RANGE, SD, CountModel, Hinge
from lossmap.surfaces.laplace import Counts, laplace

FRAME_M2 = 0.3048**2


def fitted(made, speed=True, moisture=True, knots=((2.0,), (13.0,)), side_m=866.0):
    """The model of made counts, with the drivers wanted."""
    model = CountModel(*knots, diagonal_m=side_m * 2**0.5)
    return model.fit(made["places"], made["seeds"], made["area"], made["speed"] if speed else None, made["moisture"] if moisture else None)


def mapped(model, made):
    """Mean, low and high at every cell."""
    return model.predict(made["cells"], made["cell_speed"], made["cell_moisture"])


def test_intervals_hold_planted_surfaces(planted, stops_and_cells):
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


def test_surface_beats_the_field_mean(planted, stops_and_cells):
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


def test_strong_effects_are_found(planted, stops_and_cells):
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


def test_no_effect_is_not_found(planted, stops_and_cells):
    """Without an effect at most 1 of 12 fields is flagged."""
    flagged = 0
    for rng_seed in range(12):
        rng = np.random.default_rng(100 + rng_seed)
        made = stops_and_cells(planted.at_random(rng), rng, 36)
        flagged += any(slope.chance() >= 0.98 for slope in fitted(made).slopes_.values())
    assert flagged <= 1


@pytest.fixture(scope="module")
def made(planted, stops_and_cells):
    """One field with both effects."""
    rng = np.random.default_rng(3)
    return stops_and_cells(planted.at_random(rng, speed_slope=1.0, dryness_slope=0.3), rng, 30, cell_m=60.0)


def test_permuted_stops_change_nothing(made):
    """The order of stops is of no account."""
    order = np.random.default_rng(0).permutation(30)
    mixed = {**made, **{name: made[name][order] for name in ("places", "seeds", "area", "speed", "moisture")}}
    for one, other in zip(mapped(fitted(made), made), mapped(fitted(mixed), mixed), strict=True):
        assert one == pytest.approx(other, rel=1e-6)


def test_moving_the_field_moves_the_map(made):
    """Places shifted by kilometres give the same values at the shifted cells."""
    away = np.array([400_000.0, 4_600_000.0])
    moved = {**made, "places": made["places"] + away, "cells": made["cells"] + away}
    for one, other in zip(mapped(fitted(made), made), mapped(fitted(moved), moved), strict=True):
        assert one == pytest.approx(other, rel=1e-4)


def test_units_of_area_are_of_no_account(made):
    """Areas in another unit scale the map and nothing else."""
    scaled = {**made, "area": made["area"] * 10.7639}
    for one, other in zip(mapped(fitted(made), made), mapped(fitted(scaled), scaled), strict=True):
        assert one == pytest.approx(other * 10.7639, rel=1e-6)


def test_more_seen_narrows_the_doubt(made):
    """Ten times the area and the seeds: less doubt at the stops, and narrower slopes to be expected."""
    few, many = fitted(made), fitted({**made, "area": made["area"] * 10, "seeds": made["seeds"] * 10})
    width = [
        np.log(high / low).mean()
        for _, low, high in (model.predict(made["places"], made["speed"], made["moisture"]) for model in (few, many))
    ]
    assert width[1] < width[0]
    for driver in ("speed", "dryness"):
        assert many.slopes_[driver].expected_sd < few.slopes_[driver].expected_sd


def test_shared_sums_are_the_loop_over_combinations(made, monkeypatch):
    """Mean and variance from shared sums are those of every combination predicted on its own and averaged."""
    monkeypatch.setattr(module, "KEPT", 1.0)
    model = fitted(made, moisture=False)
    mean, variance = model.log_moments(made["cells"], made["cell_speed"])
    counts = Counts(made["seeds"], made["area"] * np.exp(model.log_rate_), np.ones(30))
    distance = np.hypot(*(made["places"][:, None] - made["places"][None]).transpose(2, 0, 1))
    across = np.hypot(*(made["cells"][:, None] - made["places"][None]).transpose(2, 0, 1))
    steps = RANGE[LATTICE.range] * 866.0 * 2**0.5
    at_stops, at_cells = (Hinge("speed", 2.0).of(made[name]) for name in ("speed", "cell_speed"))
    weights, means, variances = [], [], []
    for slope_variance in (0.0, module.SLOPE_SD["speed"] ** 2):
        for row in range(LATTICE.size.size):
            sd2 = SD[LATTICE.sd[row]] ** 2
            prior = sd2 * np.exp(-distance / steps[row]) + 1 + slope_variance * np.outer(at_stops, at_stops)
            cross = sd2 * np.exp(-across / steps[row]) + 1 + slope_variance * np.outer(at_cells, at_stops)
            fit = laplace(counts, prior[None], LATTICE.size[[row]])
            weights.append(np.exp(fit.log_evidence[0] + LATTICE.log_prior[row]))
            means.append(cross @ fit.gradient[0])
            variances.append(sd2 + 1 + slope_variance * at_cells**2 - np.einsum("ci,ij,cj->c", cross, fit.precision[0], cross))
    share = np.array(weights) / np.sum(weights)
    direct = share @ means
    assert mean - model.log_rate_ == pytest.approx(direct, abs=2e-4)
    assert variance == pytest.approx(share @ (np.array(variances) + np.array(means) ** 2) - direct**2, rel=1e-3)


def test_leaving_out_light_combinations_is_not_to_be_seen(made, monkeypatch):
    """What KEPT leaves out moves no cell of the map or its interval by more than 4 %."""
    usual = mapped(fitted(made), made)
    monkeypatch.setattr(module, "KEPT", 1.0)
    for one, other in zip(usual, mapped(fitted(made), made), strict=True):
        assert one == pytest.approx(other, rel=0.04)


def test_joint_agrees_with_single_places(made):
    """The diagonal of the joint covariance is the variance at each place."""
    model = fitted(made)
    chosen = slice(0, 50)
    args = made["cells"][chosen], made["cell_speed"][chosen], made["cell_moisture"][chosen]
    mean, variance = model.log_moments(*args)
    together, covariance = model.joint(*args)
    assert together == pytest.approx(mean)
    assert np.diag(covariance) == pytest.approx(variance)
    assert np.linalg.eigvalsh(covariance).min() > -1e-9


def test_groups_are_a_whole(made):
    """Weights of all models add to 1, and the mean knot lies among the knots."""
    model = fitted(made, knots=((1.5, 2.0, 2.5), (12.0, 13.0)))
    assert sum(group.weight for group in model.groups_.values()) == pytest.approx(1)
    assert 1.5 <= model.knots_["speed"] <= 2.5
    assert len(model.hinges_) == 5


def test_a_driver_that_never_acts_says_nothing(made):
    """A knot above every speed leaves the slope at its prior."""
    slope = fitted(made, knots=((9.0,), (13.0,))).slopes_["speed"]
    assert slope.chance() == pytest.approx(0.5)
    assert slope.moments()[1] == pytest.approx(module.SLOPE_SD["speed"])


@pytest.mark.parametrize("stops", [1, 2, 5])
def test_a_handful_of_stops_is_enough_to_run(made, stops):
    """From one stop on there is a finite map whose doubt is wide."""
    few = {**made, **{name: made[name][:stops] for name in ("places", "seeds", "area", "speed", "moisture")}}
    mean, low, high = mapped(fitted(few), few)
    assert np.isfinite(mean).all()
    assert (high / low > 1.5).all()


def test_nothing_found_is_little_everywhere(made):
    """No seed at any stop: a map near 0, not a failure."""
    none = {**made, "seeds": np.zeros(30)}
    mean, _, high = mapped(fitted(none), none)
    assert (mean < 1 / made["area"].sum()).all()
    assert (high < 10 / made["area"].sum()).all()
