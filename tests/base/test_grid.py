"""The field's one raster and what lies on it."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.errors import TooLittleData
from lossmap.base.grid import Grid, Surface

CRS = pyproj.CRS.from_epsg(32615)
places = st.floats(min_value=-500, max_value=500, allow_subnormal=False)
sides = st.floats(min_value=1, max_value=400)


@given(west=places, south=places, width=sides, height=sides, cell_m=st.sampled_from([1.0, 5.0, 7.5]))
def test_a_grid_covers_its_outline_and_no_row_more(west: float, south: float, width: float, height: float, cell_m: float) -> None:
    """The outline lies inside, each edge less than a cell away, on whole multiples of the cell."""
    outline = shapely.box(west, south, west + width, south + height)
    grid = Grid.covering(outline, CRS, cell_m)
    east_m, south_m = grid.west_m + grid.cols * cell_m, grid.north_m - grid.rows * cell_m
    assert grid.west_m <= west < grid.west_m + cell_m
    assert grid.north_m - cell_m < south + height <= grid.north_m
    assert east_m - cell_m < west + width <= east_m or grid.cols == 1
    assert south_m <= south < south_m + cell_m or grid.rows == 1
    assert grid.west_m / cell_m == round(grid.west_m / cell_m)


@given(east=st.integers(-40, 40), north=st.integers(-40, 40))
def test_shifting_the_field_by_cells_shifts_the_grid(east: int, north: int) -> None:
    """The same outline some cells further has the same grid, as far further."""
    outline = shapely.box(3, 4, 103, 77)
    grid = Grid.covering(outline, CRS, 5.0)
    moved = Grid.covering(shapely.transform(outline, lambda at: at + np.array([5 * east, 5 * north])), CRS, 5.0)
    assert moved.shape == grid.shape
    assert (moved.west_m, moved.north_m) == (grid.west_m + 5 * east, grid.north_m + 5 * north)


def test_row_0_is_in_the_north() -> None:
    """Centres run east with columns and south with rows, and each falls in its own cell."""
    grid = Grid(CRS, 0.0, 30.0, 10.0, 3, 2)
    easting, northing = grid.centres()
    assert easting.tolist() == [5, 15]
    assert northing.tolist() == [25, 15, 5]
    east, north = np.meshgrid(easting, northing)
    assert grid.cell_of(east.ravel(), north.ravel()).tolist() == list(range(6))


def test_places_outside_have_no_cell() -> None:
    """Beyond an edge or nowhere at all: -1; on the west and north edge: in."""
    grid = Grid(CRS, 0.0, 30.0, 10.0, 3, 2)
    east = np.array([-0.1, 20.0, 5.0, 5.0, np.nan, np.inf, 0.0])
    north = np.array([5.0, 5.0, 30.1, 0.0, 5.0, 5.0, 30.0])
    assert grid.cell_of(east, north).tolist() == [-1, -1, -1, -1, -1, -1, 0]


def test_inside_and_polygon_are_each_other_s_inverse() -> None:
    """Cells inside an outline, joined to a polygon, have the same cells inside and their area."""
    outline = shapely.Point(60, 50).buffer(45) - shapely.Point(60, 50).buffer(12)
    grid = Grid.covering(outline, CRS, 5.0)
    inside = grid.inside(outline)
    joined = grid.polygon(inside)
    assert joined.area == pytest.approx(inside.sum() * 25)
    np.testing.assert_array_equal(grid.inside(joined), inside)
    assert grid.polygon(np.zeros(grid.shape, dtype=bool)).is_empty


def test_a_field_as_large_as_a_county_is_refused() -> None:
    """A wrong coordinate is likelier than such a field: said with both sizes and the remedy."""
    with pytest.raises(TooLittleData) as refusal:
        Grid.covering(shapely.box(0, 0, 30_000, 20_000), CRS, 5.0)
    assert str(refusal.value) == (
        "the field: spans 30 x 20 km (24,000,000 cells of 5 m, at most 12,000,000); check positions and boundary, or set a larger grid.cell"
    )


def test_a_surface_gives_the_value_of_the_cell_a_place_is_in() -> None:
    """Best values at places, NaN outside the grid."""
    grid = Grid(CRS, 0.0, 20.0, 10.0, 2, 2)
    values = np.array([[1, 2], [3, 4]], dtype=np.float32)
    surface = Surface("loss_kg_ha", "kg/ha", grid, values, values, values)
    np.testing.assert_array_equal(surface.at(np.array([5.0, 15.0, 25.0]), np.array([15.0, 5.0, 5.0])), [1, 4, np.nan])


def test_a_surface_of_another_shape_is_refused() -> None:
    """Mean, low and high all have the grid's rows and columns."""
    grid = Grid(CRS, 0.0, 20.0, 10.0, 2, 2)
    whole, short = np.zeros((2, 2), np.float32), np.zeros((2, 3), np.float32)
    with pytest.raises(ValueError, match=r"^loss_kg_ha: array \(2, 3\) on a grid of \(2, 2\)$"):
        Surface("loss_kg_ha", "kg/ha", grid, whole, whole, short)


def test_area_of_a_cell() -> None:
    """A cell of 5 m is 25 m2."""
    assert Grid(CRS, 0.0, 20.0, 5.0, 2, 2).cell_ha == pytest.approx(0.0025)
