"""Stops to a field's loss surface: planted fields, too little to map, and what is filled in."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest

from lossmap import synthetic
from lossmap.base import reference
from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import Estimate
from lossmap.base.field import Field, FieldFacts
from lossmap.base.grid import Grid, Surface
from lossmap.base.settings import Settings, build
from lossmap.base.tables import POSITIONS, SOURCES
from lossmap.loss import losses, seed_mass_g
from lossmap.surfaces import loss as module
from lossmap.surfaces.loss import loss_surface

FRAME_M2 = 0.3048**2
GRID = Grid(pyproj.CRS(32615), 0.0, 870.0, 15.0, 58, 58)
INSIDE = np.ones(GRID.shape, bool)
EXACT = Estimate(155.6, 155.6, 155.6)
USUAL = Settings()


def stops_of(places, seeds, frames, drive=None):
    """The columns of LOSSES that the surface needs."""
    columns = {f"{what}_{position}": np.full(len(seeds), np.nan) for what in ("seeds", "frame_m2") for position in POSITIONS}
    columns |= {"seeds_behind_combine": seeds.astype(float), "frame_m2_behind_combine": np.full(len(seeds), FRAME_M2 * frames)}
    columns |= {"concentration": 1.0, "weighed": 0.0, **(drive or {})}
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(*places.T), crs=GRID.crs)


def layers_of(field):
    """Ground speed and moisture of a planted field as surfaces."""
    places = np.column_stack([part.ravel() for part in np.meshgrid(*GRID.centres())])
    found = {}
    for name, unit, values in (("speed_m_s", "m/s", field.speed(places)), ("moisture_pct", "%", field.moisture(places))):
        array = values.reshape(GRID.shape).astype(np.float32)
        found[name] = Surface(name, unit, GRID, array, array, array)
    return found, field.intensity(places).reshape(GRID.shape) * 1.556


@pytest.fixture(scope="module")
def strong(planted):
    """A field with a strong effect of speed, 60 stops of 4 frames: losses, layers, true surface [kg/ha], share."""
    rng = np.random.default_rng(21)
    field = planted.at_random(rng, speed_slope=1.6)
    places = rng.uniform(0, 866, (60, 2))
    layers, truth = layers_of(field)
    share = (truth * -np.expm1(-1.6 * np.maximum(layers["speed_m_s"].mean - 2.0, 0))).mean()
    return stops_of(places, field.counts(rng, places, 4), 4), layers, truth, share


@pytest.fixture(scope="module")
def mapped(strong):
    """What is made of it."""
    losses, layers, _, _ = strong
    return loss_surface(losses, layers, GRID, INSIDE, USUAL, EXACT)


def test_planted_field_comes_back(strong, mapped):
    """Cells, field mean and share of speed lie in their intervals."""
    _, _, truth, share = strong
    surface = mapped.surface
    assert 0.75 <= ((surface.low <= truth) & (truth <= surface.high)).mean() <= 0.99
    assert mapped.field_total.low <= truth.mean() <= mapped.field_total.high
    speed = mapped.evidence["speed"].share_kg_ha
    assert speed.low <= share <= speed.high
    assert (surface.low <= surface.mean).all()
    assert (surface.mean <= surface.high).all()


def test_strong_effect_has_its_excess(mapped):
    """Speed passed the gate, so its excess and chance are there; dryness did not, so they are not."""
    assert mapped.evidence["speed"].chance >= 0.98
    assert set(mapped.excess) == set(mapped.chance) == {"speed"}
    excess, chance = mapped.excess["speed"], mapped.chance["speed"]
    assert (excess.low <= excess.high).all()
    assert ((chance.mean >= 0) & (chance.mean <= 100)).all()
    assert (chance.mean[excess.mean == 0] == 0).all()


def test_total_is_the_mean_of_the_cells(mapped):
    """The field's mean is that of its surface."""
    assert mapped.field_total.mean == pytest.approx(mapped.surface.mean.mean(dtype=float), rel=1e-4)


def test_support_stands_for_all_cells(strong, mapped, monkeypatch):
    """The total's doubt from a few hundred cells is within 5 % of that from 1,200."""
    losses, layers, _, _ = strong
    monkeypatch.setattr(module, "SUPPORT", 1200)
    full = loss_surface(losses, layers, GRID, INSIDE, USUAL, EXACT).field_total
    assert np.log(mapped.field_total.high / mapped.field_total.low) == pytest.approx(np.log(full.high / full.low), rel=0.05)


def test_seed_mass_widens_and_scales(strong, mapped):
    """A vague mass of twice the seed: twice the loss, a wider interval of every cell and of the total."""
    losses, layers, _, _ = strong
    vague = loss_surface(losses, layers, GRID, INSIDE, USUAL, Estimate(311.2, 311.2 / 1.4, 311.2 * 1.4))
    assert vague.surface.mean == pytest.approx(2 * mapped.surface.mean, rel=1e-4)
    assert (vague.surface.high / vague.surface.low > mapped.surface.high / mapped.surface.low).all()
    assert vague.field_total.high / vague.field_total.low > mapped.field_total.high / mapped.field_total.low


def test_reference_that_was_set_is_used(strong):
    """A set speed is the one knot."""
    losses, layers, _, _ = strong
    settings = build(Settings, {"zones": {"speed_above": "2.2 m/s"}}, "made")
    assert loss_surface(losses, layers, GRID, INSIDE, settings, EXACT).evidence["speed"].reference == pytest.approx(2.2)


def test_outside_stays_empty(strong):
    """Nothing is said outside the field."""
    losses, layers, _, _ = strong
    inside = INSIDE.copy()
    inside[:20] = False
    surface = loss_surface(losses, layers, GRID, inside, USUAL, EXACT).surface
    assert np.isnan(surface.mean[:20]).all()
    assert np.isfinite(surface.mean[20:]).all()


def test_gaps_of_a_layer_are_filled_from_the_nearest(strong, mapped):
    """A hole in the speed layer changes the map only around the hole."""
    losses, layers, _, _ = strong
    speed = layers["speed_m_s"].mean.copy()
    speed[30:32, 30:32] = np.nan
    holed = {**layers, "speed_m_s": Surface("speed_m_s", "m/s", GRID, speed, speed, speed)}
    found = loss_surface(losses, holed, GRID, INSIDE, USUAL, EXACT).surface
    assert np.isfinite(found.mean).all()
    assert np.median(np.abs(found.mean / mapped.surface.mean - 1)) < 0.01


def test_own_speed_of_a_stop_is_preferred(strong, mapped):
    """Speeds that stops carry are used where they are known, the layer's elsewhere."""
    losses, layers, _, _ = strong
    own = losses.assign(speed_m_s=np.where(np.arange(60) % 2, np.nan, 2.0))
    assert loss_surface(own, layers, GRID, INSIDE, USUAL, EXACT).evidence["speed"].slope != mapped.evidence["speed"].slope
    gaps = losses.assign(speed_m_s=np.nan)
    assert loss_surface(gaps, layers, GRID, INSIDE, USUAL, EXACT).evidence["speed"].slope == mapped.evidence["speed"].slope


def test_without_layers_there_is_still_a_map(strong):
    """No log: a surface of counts alone, and both drivers say why they cannot be judged."""
    losses, _, _, _ = strong
    found = loss_surface(losses, {}, GRID, INSIDE, USUAL, EXACT)
    assert np.isfinite(found.surface.mean).all()
    assert [found.evidence[name].note for name in ("speed", "dryness")] == ["the log has no ground speed", "the log has no moisture"]
    assert not found.evidence["speed"].share_kg_ha


@pytest.mark.parametrize(("stops", "scale"), [(5, 1.0), (30, 0.0)])
def test_too_little_to_map_is_one_mean(strong, stops, scale):
    """Few stops or few seeds: one value everywhere, with the interval of the mean, and a note that says so."""
    losses, layers, _, _ = strong
    few = losses.iloc[:stops].assign(seeds_behind_combine=losses["seeds_behind_combine"] * scale)
    found = loss_surface(few, layers, GRID, INSIDE, USUAL, EXACT)
    assert found.is_flat
    assert np.ptp(found.surface.mean) == 0
    assert found.surface.high[0, 0] == pytest.approx(found.field_total.high, rel=1e-5)
    assert "too few to map loss" in found.notes[0]
    assert not found.evidence["speed"].share_kg_ha


def test_a_stop_without_any_count_changes_nothing(strong, mapped):
    """A stop where nothing was counted says nothing."""
    losses, layers, _, _ = strong
    blind = losses.iloc[[0]].assign(seeds_behind_combine=np.nan, frame_m2_behind_combine=np.nan)
    found = loss_surface(pd.concat([losses, blind], ignore_index=True), layers, GRID, INSIDE, USUAL, EXACT)
    assert found.surface.mean == pytest.approx(mapped.surface.mean)


def test_no_total_anywhere(strong):
    """Without a total at any stop the refusal says what to count."""
    losses, layers, _, _ = strong
    with pytest.raises(TooLittleData) as refused:
        loss_surface(losses.assign(seeds_behind_combine=np.nan), layers, GRID, INSIDE, USUAL, EXACT)
    assert str(refused.value) == (
        "counts: the total loss is known at none of 60 stops; "
        "count behind the combine, and in front of it too where residue is not spread over the header's width"
    )


def sources_of(rng_seed, discharge_m):
    """What is made of 30 stops with three positions in a made field, and the truth by source."""
    crop = reference.crop("soybean")
    plan = synthetic.FieldPlan(length_m=400.0, breadth_m=300.0, stops=30, discharge_width_m=discharge_m, flow_noise=0.0)
    made = synthetic.make(plan, rng_seed)
    facts = FieldFacts(
        name="made",
        crop="soybean",
        header_width="30 ft",
        discharge_width=f"{discharge_m} m",
        thousand_seed_mass=f"{crop.seed_mass_g.mean} g",
    )
    field = Field(Path("made"), facts, crop)
    layers = {name: made.truth.surfaces[name] for name in ("speed_m_s", "moisture_pct")}
    grid = layers["speed_m_s"].grid
    stops = losses(made.counts, field, USUAL.loss, 1)
    return loss_surface(stops, layers, grid, grid.inside(made.boundary), USUAL, seed_mass_g(field, USUAL.loss)), made.truth.mean_kg_ha


def test_sources_add_up_and_hold_the_truth():
    """Residue spread or in a windrow, four fields: sources add up to the total, and 9 of 12 intervals or more hold what was planted."""
    held = 0
    for rng_seed, discharge_m in enumerate((9.144, 4.0, 9.144, 1.8), start=1):
        found, truth = sources_of(rng_seed, discharge_m)
        assert sum(found.sources[source].mean for source in SOURCES) == pytest.approx(found.field_total.mean)
        assert sum(found.source_pct[source].mean for source in SOURCES) == pytest.approx(100)
        assert found.by_counting.high / found.by_counting.low < found.field_total.high / found.field_total.low
        held += sum(found.sources[source].low < truth[source] < found.sources[source].high for source in SOURCES)
    assert held >= 9


def test_behind_only_tells_no_source(mapped):
    """Counts behind the combine alone: no source is told, and none is invented."""
    assert not any(mapped.sources.values())
    assert not any(mapped.source_pct.values())


def test_many_stops_are_one_map_and_said(planted):
    """Six hundred stops in 300 groups: the field's mean stays, and a note says what was done."""
    rng = np.random.default_rng(8)
    field = planted.at_random(rng)
    places = rng.uniform(0, 866, (600, 2))
    known = stops_of(places, field.counts(rng, places, 4), 4, {"speed_m_s": field.speed(places), "moisture_pct": field.moisture(places)})
    layers, truth = layers_of(field)
    found = loss_surface(known, layers, GRID, INSIDE, USUAL, EXACT)
    assert found.field_total.low < truth.mean() < found.field_total.high
    assert any("600 stops were brought together in 300 groups" in note for note in found.notes)
