"""Pictures and packed values: what goes in comes out."""

from __future__ import annotations

import base64
import io

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from lossmap.base.field import FieldMap
from lossmap.base.grid import Grid
from lossmap.report.classes import Classes
from lossmap.report.map.picture import block_means, canvas, coarser, picture, reaching_the_edge, steps
from lossmap.report.projection import web_place


@given(
    st.lists(st.one_of(st.floats(-1e4, 1e4), st.just(float("nan"))), min_size=1, max_size=50),
    st.integers(0, 2),
    st.floats(0.001, 1.0),
    st.lists(st.sampled_from([-40.0, 0.25, 1.0, 1.75, 7.5, 20.0, 55.0]), max_size=4, unique=True).map(sorted),
)
def test_steps_are_too_fine_to_tell(values: list[float], places: int, factor: float, edges: list[float]) -> None:
    """Law: read back, a value prints the same and is of the same class; gaps stay gaps."""
    array = np.array(values)
    found = steps(array, factor, places, edges)
    known = np.isfinite(array)
    assert (np.isnan(found.values()) == ~known).all()
    shown, read = array[known] * factor, found.values()[known] * factor
    unit = 10.0**-places
    while shown.size and np.ptp(shown) > 4000 * unit:
        unit *= 10
    # but for those on the very edge, where the last bit of a float decides
    clear = np.abs(shown / unit % 1 - 0.5) > 1e-6
    assert (np.floor(read / unit + 0.5) == np.floor(shown / unit + 0.5))[clear].all()
    far = clear & np.all([np.abs(shown - edge) > 1e-6 for edge in edges] or [True], axis=0)
    assert (np.digitize(read, edges) == np.digitize(shown, edges))[far].all()
    assert found.levels.size <= 4006


def test_a_big_field_is_shown_as_means_of_blocks() -> None:
    """1,200 x 900 cells become blocks of 2 x 2; gaps do not pull a mean down; mass is kept."""
    grid = Grid(pyproj.CRS.from_epsg(32615), 431_000.0, 4_640_000.0, 5.0, 1200, 901)
    small, times = coarser(grid)
    assert (times, small.cell_m, small.shape) == (2, 10.0, (600, 451))
    values = np.arange(16.0).reshape(4, 4)
    values[0, 0] = np.nan
    assert block_means(values, 2).tolist() == [[pytest.approx((1 + 4 + 5) / 3), 4.5], [10.5, 12.5]]
    assert np.isnan(block_means(np.full((3, 3), np.nan), 2)).all()


def test_only_cells_the_edge_cuts_are_filled() -> None:
    """Outside, a neighbour's mean; inside, a gap stays a gap."""
    values = np.array([[1.0, np.nan, 3.0, np.nan, np.nan]])
    inside = np.array([[True, True, True, False, False]])
    found = reaching_the_edge(values, inside)
    assert found[0, [0, 2, 3]].tolist() == [1.0, 3.0, 3.0]
    assert np.isnan(found[0, [1, 4]]).all()


def test_each_pixel_shows_the_cell_it_lies_in(field_map: FieldMap) -> None:
    """Truth: a picture of the columns' parity, looked up at known places, through the real projection."""
    grid = field_map.surfaces["loss_kg_ha"].grid
    place = web_place(field_map.outline, field_map.crs)
    onto = canvas(grid, field_map.outline, place)
    parity = np.broadcast_to((np.arange(grid.cols) % 2).astype(np.uint8), grid.shape)
    image = Image.open(io.BytesIO(base64.b64decode(picture(parity, Classes((1.0,), 0, ("#ffefd0", "#780120")), onto).partition(",")[2])))
    assert image.mode == "P"
    pixels = np.asarray(image.convert("RGBA"))
    easting, northing = grid.centres()
    east, north = (part.ravel() for part in np.meshgrid(easting, northing))
    inner = shapely.contains_xy(shapely.buffer(field_map.outline, -4), east, north)
    web = pyproj.Transformer.from_crs(field_map.crs, 3857, always_xy=True).transform(east[inner], north[inner])
    col = ((web[0] - place.west) / (place.east - place.west) * pixels.shape[1]).astype(int)
    row = ((place.north - web[1]) / (place.north - place.south) * pixels.shape[0]).astype(int)
    wanted = np.where(parity.ravel()[inner, None] == 1, [0x78, 0x01, 0x20, 255], [0xFF, 0xEF, 0xD0, 255])
    np.testing.assert_array_equal(pixels[row, col], wanted)


def test_outside_the_field_the_picture_is_clear(field_map: FieldMap) -> None:
    """The notch of the outline holds no colour though its cells lie on the grid."""
    surface = field_map.surfaces["loss_kg_ha"]
    place = web_place(field_map.outline, field_map.crs)
    onto = canvas(surface.grid, field_map.outline, place)
    codes = np.zeros(surface.grid.shape, dtype=np.uint8)
    image = Image.open(io.BytesIO(base64.b64decode(picture(codes, Classes((), 0, ("#ffefd0",)), onto).partition(",")[2])))
    alpha = np.asarray(image.convert("RGBA"))[..., 3]
    assert alpha[3, 3] == 0
    assert (alpha > 0).mean() == pytest.approx(field_map.area_ha / (586 * 384 / 1e4), rel=0.02)
