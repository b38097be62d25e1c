"""Excess over the reference against draws from the same posterior."""

import numpy as np
import pytest

from lossmap.surfaces.counted import Counted
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.excess import cell_excess, field_excess


@pytest.fixture(scope="module")
def made(planted, stops_and_cells):
    """A field with a strong effect of speed."""
    rng = np.random.default_rng(11)
    return stops_and_cells(planted.at_random(rng, speed_slope=1.6), rng, 60, cell_m=60.0)


@pytest.fixture(scope="module")
def model(made):
    """The model with both drivers and one knot each."""
    return CountModel((2.0,), (13.0,), 1225.0).fit(
        made["places"], Counted.total(made["seeds"], made["area"]), made["speed"], made["moisture"]
    )


@pytest.fixture(scope="module")
def draws(model, made):
    """Excess at every cell in 4,000 draws of g and slope from their joint normal distribution, ``[draw, cell]``."""
    part = model.posterior([0])
    args = made["cells"], made["cell_speed"], made["cell_moisture"]
    mean, covariance = model.joint_total(*args, part)
    slope = part.slope[0] / part.weight
    slope_variance = part.slope_second[0] / part.weight - slope**2
    product = sum(features @ part.slope_mean[0, step] for _, step, features in model.features(*args, block=len(args[0])))
    shared = product / part.weight - (mean - np.log(model.level_)) * slope
    whole = np.block([[covariance, shared[:, None]], [shared[None], np.array([[slope_variance]])]])
    drawn = np.random.default_rng(0).multivariate_normal(np.append(mean, slope), whole, 4000, method="cholesky", check_valid="ignore")
    beyond = np.maximum(made["cell_speed"] - 2.0, 0)
    return np.exp(drawn[:, :-1]) * -np.expm1(-drawn[:, -1:] * beyond)


def test_cells_agree_with_draws(model, made, draws):
    """Mean within 5 %, chance within 0.04, interval within 15 % of what draws give, over cells beyond the knot."""
    limit = 6.0
    found = cell_excess(model, "speed", made["cells"], made["cell_speed"], made["cell_moisture"], limit)
    some = made["cell_speed"] > 2.1
    assert found.mean[some] == pytest.approx(draws.mean(axis=0)[some], rel=0.05)
    assert found.chance == pytest.approx((draws > limit).mean(axis=0), abs=0.04)
    low, high = np.quantile(draws, (0.05, 0.95), axis=0)
    assert found.low[some] == pytest.approx(low[some], rel=0.15)
    assert found.high[some] == pytest.approx(high[some], rel=0.15)


def test_nothing_below_the_knot(model, made):
    """Slower than the knot there is no excess and no chance of one."""
    found = cell_excess(model, "speed", made["cells"], made["cell_speed"], made["cell_moisture"], 6.0)
    slow = made["cell_speed"] <= 2.0
    for part in (found.mean, found.low, found.high, found.chance):
        assert (part[slow] == 0).all()


def test_field_agrees_with_draws(model, made, draws):
    """The field's share and its interval are those of the draws' means."""
    found = field_excess(model, "speed", made["cells"], made["cell_speed"], made["cell_moisture"], made["cell_speed"])
    means = draws.mean(axis=1)
    assert found.mean == pytest.approx(means.mean(), rel=0.03)
    assert (found.low, found.high) == pytest.approx(tuple(np.quantile(means, (0.05, 0.95))), rel=0.08)


def test_field_holds_the_truth(planted, stops_and_cells):
    """In 12 fields with a strong effect the 90 % interval of its share holds the truth at least 9 times."""
    held = 0
    for rng_seed in range(12):
        rng = np.random.default_rng(rng_seed)
        field = planted.at_random(rng, speed_slope=1.6)
        made = stops_and_cells(field, rng, 48, cell_m=60.0)
        model = CountModel((1.7, 2.0, 2.3), (13.0,), 1225.0)
        model.fit(made["places"], Counted.total(made["seeds"], made["area"]), made["speed"], made["moisture"])
        found = field_excess(model, "speed", made["cells"], made["cell_speed"], made["cell_moisture"], made["cell_speed"])
        share = (made["truth"] * -np.expm1(-1.6 * np.maximum(made["cell_speed"] - 2.0, 0))).mean()
        held += found.low <= share <= found.high
    assert held >= 9


def test_a_share_that_may_be_none_reaches_below_0(planted, stops_and_cells):
    """Without an effect the interval of the share holds 0 in at least 8 of 10 fields."""
    held = 0
    for rng_seed in range(10):
        rng = np.random.default_rng(50 + rng_seed)
        made = stops_and_cells(planted.at_random(rng), rng, 30, cell_m=60.0)
        model = CountModel((2.0,), (13.0,), 1225.0)
        model.fit(made["places"], Counted.total(made["seeds"], made["area"]), made["speed"], made["moisture"])
        found = field_excess(model, "dryness", made["cells"], made["cell_speed"], made["cell_moisture"], made["cell_moisture"])
        held += found.low <= 0 <= found.high
    assert held >= 8
