"""Maps that only look like a driver's."""

import numpy as np
import pytest
from scipy import ndimage

from lossmap.surfaces.counted import Counted
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.surrogate import coincidence, surrogate

SIDE = 64


def smooth(rng):
    """A smooth map of speeds about 2 m/s."""
    drawn = ndimage.gaussian_filter(rng.standard_normal((SIDE, SIDE)), 4, mode="wrap")
    return 2.0 + 0.4 * drawn / drawn.std()


def test_a_surrogate_has_the_values_and_the_smoothness():
    """The same values in another order, and a correlation between neighbours within 0.05 of the original's."""
    rng = np.random.default_rng(0)
    layer = smooth(rng)
    drawn = surrogate(layer, rng)
    assert np.sort(drawn, axis=None) == pytest.approx(np.sort(layer, axis=None))
    neighbours = [np.corrcoef(values[:, 1:].ravel(), values[:, :-1].ravel())[0, 1] for values in (layer, drawn)]
    assert neighbours[1] == pytest.approx(neighbours[0], abs=0.05)
    assert abs(np.corrcoef(layer.ravel(), drawn.ravel())[0, 1]) < 0.8


def fitted(layer, slope, rng):
    """A model of 60 stops on a grid of 10 m cells, loss rising with `layer` above 1.8 m/s."""
    cell = rng.choice(SIDE * SIDE, 60, replace=False)
    places = np.column_stack([cell % SIDE, cell // SIDE]) * 10.0
    speed = layer.ravel()[cell]
    seeds = rng.poisson(12 * np.exp(slope * np.maximum(speed - 1.8, 0)) * rng.gamma(8, 1 / 8, 60)).astype(float)
    return CountModel((1.8,), (), 900.0).fit(places, Counted.total(seeds, np.ones(60)), speed), cell


def test_a_real_link_is_no_coincidence():
    """Where loss doubles along speed hardly a random map does as well."""
    rng = np.random.default_rng(1)
    layer = smooth(rng)
    model, cell = fitted(layer, 1.5, rng)
    assert coincidence(model, "speed", layer, cell, 99, 1) <= 0.05


def test_without_a_link_chances_are_even():
    """Over 30 fields without a link the shares are spread over 0 to 1: few below a tenth, half below a half."""
    found = []
    for rng_seed in range(30):
        rng = np.random.default_rng(100 + rng_seed)
        layer = smooth(rng)
        model, cell = fitted(layer, 0.0, rng)
        found.append(coincidence(model, "speed", layer, cell, 39, rng_seed))
    assert np.mean(np.array(found) <= 0.1) <= 0.27
    assert 0.25 <= np.mean(np.array(found) <= 0.5) <= 0.75


def test_same_seed_same_answer():
    """The draw is that of the seed, and the real map counts as one of them."""
    rng = np.random.default_rng(2)
    layer = smooth(rng)
    model, cell = fitted(layer, 0.5, rng)
    one, other = (coincidence(model, "speed", layer, cell, 19, 7) for _ in range(2))
    assert one == other
    assert 1 / 20 <= one <= 1
