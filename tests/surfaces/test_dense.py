"""The machine's layers: planted surfaces come back, unbelieved points do not count."""

import geopandas as gpd
import numpy as np
import pyproj
import pytest

from lossmap.base.errors import TooLittleData
from lossmap.base.grid import Grid
from lossmap.base.settings import SurfaceSettings
from lossmap.surfaces.dense import by_pass, dense, placed

CRS = pyproj.CRS(32615)
GRID = Grid(CRS, 0.0, 400.0, 5.0, 80, 80)
INSIDE = np.ones(GRID.shape, bool)
USUAL = SurfaceSettings()


def truth(easting, northing):
    """A made yield that changes over some 60 m [kg/ha]."""
    return 6000 + 600 * np.sin(easting / 60) * np.cos(northing / 50)


def log_of(values=None, noise=0.0, passes=(4.5, 400.0, 9.0), spacing=2.0, seed=0):
    """Points along passes [POINTS], with the planted yield or `values`."""
    northing, easting = (part.ravel() for part in np.meshgrid(np.arange(*passes), np.arange(1.0, 400.0, spacing), indexing="ij"))
    yields = truth(easting, northing) if values is None else np.full(easting.size, values)
    yields = yields * (1 + noise * np.random.default_rng(seed).normal(size=easting.size))
    columns = {"yield_kg_ha": yields, "flag": "", "width_m": 9.0, "distance_m": spacing}
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(easting, northing), crs=CRS)


def test_planted_surface_comes_back():
    """10 % noise on each record: the surface errs by less than 2.5 %, and its interval holds the truth 80 to 98 times in 100."""
    surface = dense(log_of(noise=0.1), "yield_kg_ha", GRID, INSIDE, USUAL)
    true = truth(*np.meshgrid(*GRID.centres()))
    assert np.sqrt(np.mean((surface.mean - true) ** 2)) < 150
    assert 0.80 <= ((surface.low <= true) & (true <= surface.high)).mean() <= 0.98
    assert surface.unit == "kg/ha"


def test_a_constant_stays_one():
    """Points of one value make a surface of that value, to the edges, without doubt."""
    surface = dense(log_of(values=5000.0), "yield_kg_ha", GRID, INSIDE, USUAL)
    for part in (surface.mean, surface.low, surface.high):
        assert part == pytest.approx(5000, rel=1e-5)


def test_unbelieved_points_do_not_count():
    """Flagged points may hold anything."""
    points = log_of()
    spoilt = points.copy()
    rows = np.random.default_rng(1).random(len(points)) < 0.3
    spoilt.loc[rows, "flag"] = "pass end"
    spoilt.loc[rows, "yield_kg_ha"] = 1e6
    kept = dense(points[~rows], "yield_kg_ha", GRID, INSIDE, USUAL)
    assert dense(spoilt, "yield_kg_ha", GRID, INSIDE, USUAL).mean == pytest.approx(kept.mean, nan_ok=True)


def test_empty_ground_stays_empty():
    """Further than `gap` from any point, and outside the field, nothing is drawn."""
    inside = INSIDE.copy()
    inside[:, :10] = False
    surface = dense(log_of(passes=(4.5, 200.0, 9.0)), "yield_kg_ha", GRID, inside, USUAL)
    _, northing = np.meshgrid(*GRID.centres())
    beyond = northing > 198.0 + USUAL.gap + GRID.cell_m
    near = northing < 198.0 + USUAL.gap - GRID.cell_m
    assert np.isnan(surface.mean[beyond]).all()
    assert np.isnan(surface.mean[:, :10]).all()
    assert np.isfinite(surface.mean[near & inside]).all()


def test_records_weigh_by_the_area_they_cut():
    """Two values at one place, one cut over three times the area: the mean is three to one."""
    points = gpd.GeoDataFrame(
        {"yield_kg_ha": [1000.0, 2000.0], "flag": "", "width_m": 9.0, "distance_m": [1.0, 3.0]},
        geometry=gpd.points_from_xy([200.0, 200.0], [200.0, 200.0]),
        crs=CRS,
    )
    surface = dense(points, "yield_kg_ha", GRID, INSIDE, USUAL)
    assert np.nanmin(surface.mean) == pytest.approx(1750)


def test_narrow_strips_weigh_little():
    """Where cleaning found the width freshly cut, that is the width."""
    points = log_of()
    points["fresh_width_m"] = np.where(np.arange(len(points)) % 2, 9.0, 1e-6)
    points.loc[points["fresh_width_m"] < 1, "yield_kg_ha"] = 1e5
    assert np.nanmax(dense(points, "yield_kg_ha", GRID, INSIDE, USUAL).mean) < 8000


def test_moving_the_field_moves_the_surface():
    """Points and grid shifted alike give the same cells."""
    points = log_of(noise=0.1)
    moved = points.assign(geometry=points.translate(1000.0, -500.0))
    there = Grid(CRS, 1000.0, -100.0, 5.0, 80, 80)
    here = dense(points, "yield_kg_ha", GRID, INSIDE, USUAL)
    assert dense(moved, "yield_kg_ha", there, INSIDE, USUAL).mean == pytest.approx(here.mean)


def test_it_is_linear_in_the_values():
    """Twice the yields, twice the surface and its doubt; gaps in the values are left out."""
    points = log_of(noise=0.1)
    points.loc[5::7, "yield_kg_ha"] = np.nan
    double = points.assign(yield_kg_ha=2 * points["yield_kg_ha"])
    one, two = (dense(frame, "yield_kg_ha", GRID, INSIDE, USUAL) for frame in (points, double))
    assert two.mean == pytest.approx(2 * one.mean, rel=1e-5)
    assert two.high - two.low == pytest.approx(2 * (one.high - one.low), rel=1e-3)


def test_placement_is_shared():
    """One placement for several columns is the placement of each."""
    points = log_of(noise=0.1)
    at = placed(points, GRID, INSIDE, USUAL)
    assert dense(points, "yield_kg_ha", GRID, INSIDE, USUAL, at).mean == pytest.approx(
        dense(points, "yield_kg_ha", GRID, INSIDE, USUAL).mean
    )


def test_no_believed_value():
    """A column without a believed value is refused with the number of points."""
    points = log_of().assign(flag="not working")
    with pytest.raises(TooLittleData, match=r"yield_kg_ha: no believed point on the field has a value \(0 points are believed\)"):
        dense(points, "yield_kg_ha", GRID, INSIDE, USUAL)


def test_passes_keep_their_own_speed():
    """Neighbouring passes at 1 and 3 m/s: `by_pass` gives each its own, where `dense` blends them."""
    points = log_of(passes=(5.0, 400.0, 10.0))
    points["speed_m_s"] = np.where(points.geometry.y % 20 < 10, 1.0, 3.0)
    own = by_pass(points, "speed_m_s", GRID, INSIDE, USUAL).mean
    assert set(np.unique(own)) == {1.0, 3.0}
    blended = dense(points, "speed_m_s", GRID, INSIDE, USUAL).mean
    assert np.nanmin(blended[5:-5]) > 1.2 and np.nanmax(blended[5:-5]) < 2.8


def test_by_pass_keeps_the_gap():
    """Beyond `gap` nothing is drawn, as for every layer; a column without values is refused."""
    points = log_of(passes=(4.5, 200.0, 9.0))
    surface = by_pass(points, "yield_kg_ha", GRID, INSIDE, USUAL)
    assert np.array_equal(np.isnan(surface.mean), np.isnan(dense(points, "yield_kg_ha", GRID, INSIDE, USUAL).mean))
    with pytest.raises(TooLittleData):
        by_pass(points.assign(yield_kg_ha=np.nan), "yield_kg_ha", GRID, INSIDE, USUAL)
