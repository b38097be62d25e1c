"""Long simulations: how good the maps are and how often the verdicts are right. They print a table (pytest -m slow -s)."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.special import ndtr

from lossmap import synthetic
from lossmap.base import reference
from lossmap.base.estimates import Estimate
from lossmap.base.field import Field, FieldFacts
from lossmap.base.settings import Settings
from lossmap.loss import losses
from lossmap.surfaces import loss_surface
from lossmap.zones import driver

pytestmark = pytest.mark.slow

USUAL = Settings()
BU_AC = 67.251  # kg/ha, 60 lb
SEED_G = reference.crop("soybean").seed_mass_g.mean
EXACT = Estimate(SEED_G, SEED_G, SEED_G)
FIELD = Field(
    Path("made"), FieldFacts(name="made", crop="soybean", header_width="30 ft", thousand_seed_mass=f"{SEED_G} g"), reference.crop("soybean")
)


@cache
def made(stops, frames, rng_seed, **more):
    """A made field of some 40 ha, counted behind the combine."""
    plan = synthetic.FieldPlan(
        length_m=800.0,
        breadth_m=500.0,
        stops=stops,
        frames=frames,
        positions=("behind_combine",),
        flow_noise=0.0,
        headland_rounds=0,
        **more,
    )
    return synthetic.make(plan, rng_seed)


def mapped(field):
    """The loss surface of a made field, from its counts and its true speeds and moistures; and the true surface."""
    found = losses(field.counts, FIELD, USUAL.loss, 1)
    grid = field.truth.surfaces["total_kg_ha"].grid
    places = shapely.get_coordinates(found.geometry.to_numpy()).T
    for name in ("speed_m_s", "moisture_pct"):
        found[name] = field.truth.surfaces[name].at(*places)
    inside = np.isfinite(field.truth.surfaces["total_kg_ha"].mean)
    layers = {name: field.truth.surfaces[name] for name in ("speed_m_s", "moisture_pct")}
    return loss_surface(found, layers, grid, inside, USUAL, EXACT), field.truth.surfaces["total_kg_ha"].mean[inside], inside


def crps(truth, low, mean, high):
    """Continuous ranked probability score of a log-normal with that interval, in the truth's unit."""
    middle, sd = np.log(low * high) / 2, np.log(high / low) / (2 * 1.6448536)
    z = (np.log(truth) - middle) / sd
    return truth * (2 * ndtr(z) - 1) - 2 * np.exp(middle + sd**2 / 2) * (ndtr(z - sd) + ndtr(sd / math.sqrt(2)) - 1)


@pytest.mark.parametrize(("stops", "frames"), [(12, 1), (24, 1), (48, 1), (96, 1), (24, 4), (48, 4), (96, 4)])
def test_surface(stops, frames):
    """48 fields no prior was chosen on: 90 % intervals hold 82 to 97 of 100 cells, and the mean of 8 in 10 fields."""
    scores, held, means, flat = [], [], [], []
    for rng_seed in range(500, 548):
        found, truth, inside = mapped(made(stops, frames, rng_seed, micro_sd=0.2))
        low, mean, high = (part[inside].astype(float) for part in (found.surface.low, found.surface.mean, found.surface.high))
        scores.append(crps(truth, low, mean, high).mean() / BU_AC)
        held.append(((low <= truth) & (truth <= high)).mean())
        means.append(found.field_total.low <= truth.mean() <= found.field_total.high)
        flat.append(np.abs(truth - found.field_total.mean).mean() / BU_AC)
    print(f"\nstops {stops:3d} x{frames}: CRPS {np.mean(scores):.3f} bu/ac (absolute error of one mean {np.mean(flat):.3f}), "
          f"cells held {np.mean(held):.3f}, means held {np.mean(means):.2f}")  # fmt: skip
    assert 0.82 <= np.mean(held) <= 0.97
    assert np.mean(means) >= 0.8


@pytest.mark.parametrize(("stops", "frames"), [(24, 1), (48, 4)])
def test_false_flags(stops, frames):
    """Of 200 fields without an effect, a driver is flagged in at most 6 in 100."""
    flagged = 0
    for rng_seed in range(1000, 1200):
        found, _, _ = mapped(made(stops, frames, rng_seed, threshing=synthetic.Source(0.0, 0.0, 60.0)))
        flagged += any(driver(evidence, USUAL.zones).verdict == "tracks" for evidence in found.evidence.values())
    print(f"\nno effect, stops {stops} x{frames}: {flagged} of 200 flagged")
    assert flagged <= 12


@pytest.mark.parametrize(
    ("effect", "stops", "design", "least"), [(2.22, 48, "random", 0.7), (2.22, 24, "spread", 0.6), (1.49, 96, "spread", 0.5)]
)
def test_power_for_speed(effect, stops, design, least):
    """A strong effect of speed, and a moderate one, found as often as the number of stops promises (4 frames each)."""
    found = [
        driver(mapped(made(stops, 4, rng_seed, speed_effect=effect, design=design))[0].evidence["speed"], USUAL.zones)
        for rng_seed in range(100, 140)
    ]
    power = np.mean([each.verdict == "tracks" for each in found])
    factor = np.mean([each.effect.mean for each in found])
    print(f"\nspeed x{effect} a step, {stops} {design} stops x4: found in {power:.2f} of 40 fields, mean effect x{factor:.2f}")
    assert power >= least


@pytest.mark.parametrize("stops", [48, 96])
def test_shares(stops):
    """The 90 % interval of what goes with speed and dryness holds the truth in at least 7 of 10 fields."""
    held = {"speed": [], "dryness": []}
    for rng_seed in range(100, 130):
        field = made(stops, 4, rng_seed, speed_effect=2.22, dryness_effect=2.72)
        found, _, _ = mapped(field)
        for name, marks in held.items():
            share = found.evidence[name].share_kg_ha
            marks.append(share.low <= field.truth.share_kg_ha[name] <= share.high)
    rates = {name: float(np.mean(marks)) for name, marks in held.items()}
    print(f"\nshares, {stops} stops x4: held {rates}")
    assert min(rates.values()) >= 0.7
