"""The count model: planted fields, laws, and the long way round."""

import numpy as np
import pytest
from scipy import stats

from lossmap.surfaces import counts as module
from lossmap.surfaces.counts import LATTICE, RANGE, SD, SLOPE_SD, Counted, CountModel, Hinge
from lossmap.surfaces.laplace import Counts, Prior, laplace

FRAME_M2 = 0.3048**2


def fitted(made, speed=True, moisture=True, knots=((2.0,), (13.0,)), side_m=866.0):
    """The model of made counts, with the drivers wanted."""
    model = CountModel(*knots, diagonal_m=side_m * 2**0.5)
    return model.fit(
        made["places"], Counted.total(made["seeds"], made["area"]), made["speed"] if speed else None, made["moisture"] if moisture else None
    )


def parted_model(made, every=1, rng_seed=5):
    """The model of counts at three positions, the first two at each `every`-th stop: a tenth preharvest, seven tenths header."""
    level = np.log(made["seeds"] + 0.5)
    rng, share = np.random.default_rng(rng_seed), np.array([0.1, 0.7, 0.2])
    full = np.array([[1, 0, 0], [1, 1, 0], [1, 1, 1]], float)
    stop = np.repeat(np.arange(len(made["seeds"])), 3)
    sees = np.tile(full, (len(made["seeds"]), 1))
    # each frame clumps on its own about what lies at the stop
    lying = np.repeat(np.exp(level.mean() + 0.3 * (level - level.mean())), 3)
    seeds = rng.poisson(lying * (sees @ share) * rng.gamma(100, 1 / 100, lying.size)).astype(float)
    kept = (stop % every == 0) | (np.arange(stop.size) % 3 == 2)
    area = np.repeat(made["area"], 3)
    counted = Counted(stop[kept], seeds[kept], area[kept], sees[kept], np.ones(3), np.ones(kept.sum()))
    model = CountModel((2.0,), (13.0,), diagonal_m=866.0 * 2**0.5)
    return model.fit(made["places"], counted, made["speed"], made["moisture"])


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
    counts = Counts(made["seeds"], made["area"][:, None] * model.level_, np.ones(1), np.ones(30))
    distance = np.hypot(*(made["places"][:, None] - made["places"][None]).transpose(2, 0, 1))
    across = np.hypot(*(made["cells"][:, None] - made["places"][None]).transpose(2, 0, 1))

    def likeness(row, apart):
        """Rough exp(-x) or smooth (1 + x) exp(-x), 0.37 at the range."""
        x = apart / (RANGE[LATTICE.range[row]] * 866.0 * 2**0.5)
        return np.exp(-x) if LATTICE.range[row] < module.ROUGH else (1 + module.FALLEN * x) * np.exp(-module.FALLEN * x)

    at_stops, at_cells = (Hinge("speed", 2.0).of(made[name]) for name in ("speed", "cell_speed"))
    weights, means, variances, level = [], [], [], module.INTERCEPT_SD**2
    for slope_variance in (0.0, module.SLOPE_SD["speed"] ** 2):
        for row in range(LATTICE.size.size):
            sd2 = SD[LATTICE.sd[row]] ** 2
            kernel = sd2 * likeness(row, distance)
            prior = Prior(kernel[None], level, 0.0, at_stops[:, None], np.array([slope_variance]))
            cross = sd2 * likeness(row, across) + level + slope_variance * np.outer(at_cells, at_stops)
            fit = laplace(counts, prior, LATTICE.size[[row]], 1e-6)
            weights.append(np.exp(fit.log_evidence[0] + LATTICE.log_prior[row]))
            means.append(cross @ fit.gradient[0])
            variances.append(sd2 + level + slope_variance * at_cells**2 - np.einsum("ci,ij,cj->c", cross, fit.precision[0], cross))
    share = np.array(weights) / np.sum(weights)
    direct = share @ means
    assert mean - np.log(model.level_) == pytest.approx(direct, abs=2e-4)
    assert variance == pytest.approx(share @ (np.array(variances) + np.array(means) ** 2) - direct**2, rel=1e-3)


def test_leaving_out_light_combinations_is_hardly_to_be_seen(made, monkeypatch):
    """What KEPT leaves out moves no cell of the map or its interval by more than 8 %, nor the average by 1 %."""
    usual = mapped(fitted(made), made)
    monkeypatch.setattr(module, "KEPT", 1.0)
    for one, other in zip(usual, mapped(fitted(made), made), strict=True):
        assert one == pytest.approx(other, rel=0.08)
        assert one.mean() == pytest.approx(other.mean(), rel=0.01)


def test_joint_agrees_with_single_places(made):
    """The diagonal of the joint covariance is the variance at each place, and no part's covariance is impossible."""
    for model in (fitted(made), parted_model(made)):
        chosen = slice(0, 50)
        args = made["cells"][chosen], made["cell_speed"][chosen], made["cell_moisture"][chosen]
        mean, variance = model.log_moments(*args)
        total, covariance = model.joint_total(*args)
        assert total == pytest.approx(mean)
        assert np.diag(covariance) == pytest.approx(variance)
        parts, covariance = model.joint(*args)
        assert np.linalg.eigvalsh(covariance.reshape(parts.size, parts.size)).min() > -1e-9


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


def test_parts_add_up_to_what_the_last_position_says(made):
    """Counts at three positions tell about the same field mean as the last of them alone, and no less surely."""
    parted = parted_model(made)
    last = {**made, "seeds": parted.counted_.seeds[2::3]}
    one, other = mapped(fitted(last), made), mapped(parted, made)
    assert other[0].mean() == pytest.approx(one[0].mean(), rel=0.15)
    assert np.log(other[2] / other[1]).mean() < 1.1 * np.log(one[2] / one[1]).mean()


@pytest.mark.parametrize("every", [1, 3])
def test_parts_are_told_apart(made, every):
    """Shares of a tenth, seven tenths and a fifth come back, also where two in three stops were counted behind the combine only."""
    found = []
    for rng_seed in range(4):
        model = parted_model(made, every, rng_seed)
        mean, _ = model.joint(made["cells"][::4], made["cell_speed"][::4], made["cell_moisture"][::4])
        weight = model.share_[:, None] * np.exp(mean)
        found.append((weight / weight.sum(axis=0)).mean(axis=1))
    assert np.mean(found, axis=0) == pytest.approx([0.1, 0.7, 0.2], abs=0.06)


def test_rates_are_those_of_separate_counts():
    """Where each position is counted on large areas the rates are the differences, and never below 0."""
    sees = np.tile(np.array([[1, 0], [1, 5.0]]), (50, 1))
    area, stop = np.full(100, 100.0), np.repeat(np.arange(50), 2)
    exact = Counted(stop, area * (sees @ [2.0, 1.0]), area, sees, np.ones(2), np.ones(100))
    assert exact.rates() == pytest.approx([2.0, 1.0], rel=0.03)
    fewer_behind = Counted(stop, area * np.where(sees[:, 1] > 0, 1.9, 2.0), area, sees, np.ones(2), np.ones(100))
    assert (fewer_behind.rates() > 0).all()


def test_a_part_hardly_told_is_put_at_its_usual_share():
    """One seed more behind than in front on a small area says next to nothing of the last part: its share is near the usual one."""
    sees, area = np.tile(np.array([[1, 0], [1, 1.0]]), (10, 1)), np.full(20, 0.4)
    seeds = np.tile([5.0, 5.0], 10)
    counted = Counted(np.repeat(np.arange(10), 2), seeds, area, sees, np.ones(2), np.ones(20), np.array([0.9, 0.1]))
    share = counted.rates() / counted.rates().sum()
    assert 0.03 < share[1] < 0.12


def test_levers_are_derivatives():
    """The lever of a count on each latent is how far the logarithm of its mean moves with it."""
    rng = np.random.default_rng(9)
    worth = np.array([0.2, 0.5, 0.3])
    counts = Counts(np.zeros(3), rng.uniform(0.1, 2, (3, 3)) * [[1, 0, 0], [1, 1, 0], [1, 1, 5]], worth, np.ones(3))
    h = rng.normal(size=(3, 3))
    _, lever = counts.seen(h)
    assert lever.sum(axis=1) == pytest.approx(1.0)
    for part in range(3):
        moved = [np.log(counts.seen(h + sign * 1e-6 * (np.arange(3) == part))[0]) for sign in (1, -1)]
        assert lever[:, part] == pytest.approx((moved[0] - moved[1]) / 2e-6, abs=1e-6)


def test_fewer_seeds_behind_than_in_front_still_divide(made):
    """Fewer seeds behind the combine than in front of it by chance: finite latents, positive doubts."""
    odd = {**made, "seeds": np.floor(made["seeds"] * 0.9)}
    mean, covariance = parted_model(odd).joint(made["cells"][:40], made["cell_speed"][:40], made["cell_moisture"][:40])
    assert np.isfinite(mean).all()
    assert (np.einsum("kpkp->kp", covariance) > 0).all()


def test_a_thinned_posterior_draws_the_same_curve(planted, stops_and_cells):
    """Posterior over prior, wherever it is not below e^-6 of its height: within 0.15 of its logarithm; mean and sd untouched."""
    for rng_seed, (stops, frames) in enumerate(((8, 1), (12, 4), (24, 4), (48, 4))):
        rng = np.random.default_rng(rng_seed)
        made = stops_and_cells(planted.at_random(rng), rng, stops, frames, cell_m=40.0)
        for driver, full in fitted(made, knots=((1.5, 2.0), (12.5, 13.5))).slopes_.items():
            thin = full.thinned()
            assert thin.weight.size <= 60 < full.weight.size
            assert thin.moments() == pytest.approx(full.moments())
            assert thin.chance() == pytest.approx(full.chance(), abs=0.002)
            at = np.linspace(-4, 4, 201)[:, None] * SLOPE_SD[driver]
            curves = [np.log(stats.norm.pdf(at, one.mean, one.sd) @ one.weight) for one in (full, thin)]
            seen = (curves[0] - stats.norm.logpdf(at[:, 0], 0, SLOPE_SD[driver])) > -6
            assert np.abs(curves[0] - curves[1])[seen].max() < 0.15
