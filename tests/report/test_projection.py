"""The polynomial that stands in for a projection library on the page."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from lossmap.report.projection import web_place


@pytest.mark.parametrize(
    ("epsg", "easting", "northing"), [(32615, 431_000, 4_640_000), (32614, 760_000, 5_500_000), (26915, 500_000, 3_300_000)]
)
@pytest.mark.parametrize("size_m", [400.0, 6000.0])
def test_both_ways_agree_with_proj_to_a_millimetre(epsg: int, easting: float, northing: float, size_m: float) -> None:
    """At the middle of a zone, near its edge, and for a field 6 km wide."""
    crs = pyproj.CRS.from_epsg(epsg)
    outline = shapely.box(easting, northing, easting + size_m, northing + 0.7 * size_m)
    place = web_place(outline, crs)
    rng = np.random.default_rng(3)
    x, y = easting + rng.random(300) * size_m, northing + rng.random(300) * 0.7 * size_m
    web = pyproj.Transformer.from_crs(crs, 3857, always_xy=True).transform(x, y)
    assert np.hypot(*(ours - theirs for ours, theirs in zip(place.to_web(x, y), web, strict=True))).max() < 1e-3
    assert np.hypot(*(ours - theirs for ours, theirs in zip(place.to_field(*web), (x, y), strict=True))).max() < 1e-3
    assert place.west <= web[0].min()
    assert place.north >= web[1].max()


def test_rounded_for_the_page_it_still_hits_the_cell() -> None:
    """What the script gets is off by less than 5 mm."""
    crs = pyproj.CRS.from_epsg(32615)
    place = web_place(shapely.box(431_000, 4_640_000, 431_800, 4_640_800), crs)
    given = place.to_field.for_script()
    web = np.array(place.to_web(np.array([431_123.0]), np.array([4_640_456.0])))
    u, v = (web[axis] - given["centre"][axis] for axis in (0, 1))
    u, v = u / given["half"], v / given["half"]
    terms = [u**i * v**j for i in range(4) for j in range(4 - i)]
    x = given["origin"][0] + sum(part * term for part, term in zip(given["x"], terms, strict=True))
    y = given["origin"][1] + sum(part * term for part, term in zip(given["y"], terms, strict=True))
    assert abs(x[0] - 431_123.0) < 5e-3
    assert abs(y[0] - 4_640_456.0) < 5e-3


def test_stretch_is_mercators() -> None:
    """One metre on the ground at 41.9 degrees is 1.344 Mercator metres."""
    place = web_place(shapely.box(431_000, 4_640_000, 431_600, 4_640_400), pyproj.CRS.from_epsg(32615))
    assert place.stretch == pytest.approx(1 / np.cos(np.radians(41.908)), rel=1e-3)
