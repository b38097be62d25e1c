"""Where fields lie, drawn."""

from __future__ import annotations

import math
import re

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from lossmap.base import reference
from lossmap.report.season.map import MOST_PARTS, season_map
from lossmap.report.words import Words
from report.made_seasons import made_season

WORDS = Words(reference.crop("corn"), "us")


def drawn(season, words=WORDS):
    """The parts of a made season's map."""
    fields = season.fields
    return season_map(fields.geometry, list(fields["name"]), np.zeros(len(fields), np.uint8), words)


def corners(path):
    """Corners of a path ``[corner, (x, y)]``."""
    return np.array([[float(x) for x in pair.split()] for pair in re.findall(r"[ML]([\d. -]+)", path)])


def test_fields_are_true_to_distance_and_area():
    """Truth: a field's drawn size and the way between two fields are those of the ellipsoid, by the scale of the bar."""
    season = made_season(9, 0)
    near = season.fields.iloc[:8]
    (part,) = season_map(near.geometry, list(near["name"]), np.zeros(8, np.uint8), Words(reference.crop("corn"), "metric"))
    metres = float(part.bar_text.split()[0]) * 1000 / part.bar
    geod = pyproj.Geod(ellps="WGS84")
    for shape, outline in zip(part.shapes, near.geometry, strict=True):
        area_m2 = abs(geod.geometry_area_perimeter(outline)[0])
        assert shapely.Polygon(corners(shape.path)).area * metres**2 == pytest.approx(area_m2, rel=0.03)
    first, last = near.geometry.iloc[0].exterior.coords[0], near.geometry.iloc[7].exterior.coords[0]
    drawn_first, drawn_last = corners(part.shapes[0].path)[0], corners(part.shapes[7].path)[0]
    assert math.hypot(*(drawn_first - drawn_last)) * metres == pytest.approx(geod.inv(*first, *last)[2], rel=0.01)
    assert drawn_last[1] < drawn_first[1], "north is up"


def test_a_field_far_away_gets_a_drawing_of_its_own():
    """Ten acres 60 miles off: a dot in a lettered frame on the whole, and large enough to be seen in its part."""
    whole, *parts = drawn(made_season())
    assert [part.letter for part in (whole, *parts)] == ["", "A", "B"]
    assert [part.fields for part in (whole, *parts)] == [14, 13, 1]
    assert [label.text for label in whole.labels] == ["A", "B"]
    assert whole.shapes[13].speck
    assert np.ptp(corners(parts[1].shapes[0].path), axis=0).min() > 40
    assert parts[1].labels[0].text == "14 Dogwood corner"
    for letter, left, top, wide, high in whole.frames:
        inside = next(part for part in parts if part.letter == letter)
        spots = [(shape.x, shape.y) for shape in whole.shapes]
        assert sum(left <= x <= left + wide and top <= y <= top + high for x, y in spots) == inside.fields


def test_north_is_up_in_every_part():
    """Truth: fields on two continents are upright in their own drawings, whatever way the drawing of all leans."""
    upright = [shapely.box(lon, lat, lon + 0.004, lat + 0.01) for lon, lat in ((-94, 44), (-94.01, 44.02), (11.2, 52.3), (11.22, 52.32))]
    whole, *parts = season_map(gpd.GeoSeries(upright, crs=4326), list("abcd"), np.zeros(4, np.uint8), WORDS)
    assert [part.fields for part in parts] == [2, 2]
    for part in parts:
        for shape in part.shapes:
            ring = corners(shape.path)
            assert shapely.Polygon(ring).area == pytest.approx(np.prod(np.ptp(ring, axis=0)), rel=0.05)
    assert whole.labels[0].text == "A"


def test_fields_side_by_side_are_one_drawing():
    """Without a gap nothing is parted, whether there is one field, a few, or hundreds."""
    for fields in (1, 2, 400):
        frame = made_season(fields + 1, 0, spread_km=2).fields.iloc[:fields]
        parts = season_map(frame.geometry, list(frame["name"]), np.zeros(fields, np.uint8), WORDS)
        assert [part.fields for part in parts] == [fields]


def test_numbers_are_those_of_the_table():
    """A field without an outline keeps its number; the next has the next one."""
    frame = made_season(4, 0, spread_km=3).fields.iloc[:3]
    gap = frame.geometry.copy()
    gap.iloc[1] = shapely.Polygon()
    (part,) = season_map(gap, ["Ann's", "Gone", "<Last>"], np.array([0, 1, 2], np.uint8), WORDS)
    assert {label.text for label in part.labels} == {"1 Ann's", "3 <Last>"}
    assert [shape.colour for shape in part.shapes] == [0, 2]
    assert season_map(gpd.GeoSeries([shapely.Polygon()], crs=4326), ["x"], np.zeros(1, np.uint8), WORDS) == ()


def test_there_are_never_more_drawings_than_a_page_can_hold():
    """Thirty farms far from each other: as many parts as there may be, every field in exactly one."""
    far = [shapely.box(-110 + 1.3 * at, 35 + (at * 7) % 12, -110 + 1.3 * at + 0.002, 35.002 + (at * 7) % 12) for at in range(30)]
    whole, *parts = season_map(gpd.GeoSeries(far, crs=4326), [f"Farm {at}" for at in range(30)], np.zeros(30, np.uint8), WORDS)
    assert len(parts) == MOST_PARTS
    assert sum(part.fields for part in parts) == whole.fields == 30


def test_two_thousand_fields_stay_small():
    """Every outline is drawn, in less than half a megabyte of paths."""
    parts = drawn(made_season(2000, 0, spread_km=200))
    assert parts[0].fields == 2000
    assert sum(len(shape.path) for part in parts for shape in part.shapes) < 500_000
