"""Draws of how a field's loss divides by source."""

import numpy as np
import pytest

from lossmap.surfaces.counted import Counted
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.positions import Part
from lossmap.surfaces.sources import divided

PLACES = np.random.default_rng(0).uniform(0, 500, (20, 2))
SOURCES = ("preharvest", "header", "threshing")
PARTS = tuple(Part((source,), 1.5, 0.1) for source in SOURCES)


def model_of(every):
    """Three positions at each `every`-th of 20 stops, the last one at all, on 4 m2: 2, 12 and 4 seeds a square metre."""
    rng = np.random.default_rng(1)
    sees, stop = np.tile(np.tri(3), (20, 1)), np.repeat(np.arange(20), 3)
    seeds = rng.poisson(4 * sees @ [2.0, 12.0, 4.0]).astype(float)
    kept = (stop % every == 0) | (sees.sum(axis=1) == 3)
    counted = Counted(stop[kept], seeds[kept], np.full(kept.sum(), 4.0), sees[kept], np.full(3, 1.5), np.ones(kept.sum()))
    return CountModel(diagonal_m=700.0).fit(PLACES, counted)


@pytest.fixture(scope="module")
def model():
    """All positions at every stop."""
    return model_of(1)


def division(model, parts=PARTS, rng_seed=1):
    """Over the stops' own places."""
    return divided(model, parts, PLACES, None, None, rng_seed)


def test_sources_hold_what_was_planted(model):
    """3, 18 and 6 kg/ha lie in their intervals, which are those of counting and the seed's mass together."""
    found = division(model)
    for source, truth in zip(SOURCES, (3.0, 18.0, 6.0), strict=True):
        amount, _ = found.source(source, 27.0)
        assert amount.low < truth < amount.high
        assert 0 < amount.low < amount.mean < amount.high


def test_they_add_up(model):
    """Amounts add up to the total that was given, shares to the whole."""
    found = [division(model).source(source, 40.0) for source in SOURCES]
    assert sum(amount.mean for amount, _ in found) == pytest.approx(40.0)
    assert sum(share.mean for _, share in found) == pytest.approx(100.0)


def test_a_mass_all_share_leaves_shares_alone(model):
    """One seed mass for all parts widens the amounts and not the shares."""
    exact = tuple(Part(part.sources, part.kg_ha, 0.0) for part in PARTS)
    vague = tuple(Part(part.sources, part.kg_ha, 0.3) for part in PARTS)
    one, other = (division(model, parts).source("header", 27.0) for parts in (exact, vague))
    assert other[0].high / other[0].low > 1.5 * one[0].high / one[0].low
    assert (other[1].low, other[1].mean, other[1].high) == pytest.approx((one[1].low, one[1].mean, one[1].high))


def test_what_is_not_told_apart_is_not_told(model):
    """A part of two sources tells neither."""
    parts = (Part(("preharvest",), 1.5, 0.1), Part(("header", "threshing"), 1.5, 0.1), Part(("header", "threshing"), 1.5, 0.1))
    found = division(model, parts)
    assert found.source("preharvest", 27.0)[0]
    assert not any(found.source("header", 27.0))


def test_same_seed_same_numbers(model):
    """Draws are those of the seed."""
    assert (division(model).amounts == division(model).amounts).all()
    assert (division(model).amounts != division(model, rng_seed=2).amounts).any()


def test_more_positions_narrow_the_shares(model):
    """Positions counted at every stop instead of every fifth: each share is known better, and the sparse ones still hold the truth."""
    sparse = model_of(5)
    for source, truth in zip(SOURCES, (11.1, 66.7, 22.2), strict=True):
        few, many = (division(each).source(source, 27.0)[1] for each in (sparse, model))
        assert many.high - many.low < 0.9 * (few.high - few.low)
        assert few.low < truth < few.high
