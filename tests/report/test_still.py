"""The still drawing."""

from __future__ import annotations

import re

import numpy as np
import pyproj
import pytest
import shapely

from lossmap.base.field import FieldMap
from lossmap.report.numbers import words_of
from lossmap.report.projection import web_place
from lossmap.report.still import MARGIN, Drawing, outline_within_m, still
from lossmap.report.unknown import unknown_part


def test_stops_and_zones_lie_where_they_are(field_map: FieldMap) -> None:
    """Truth: the drawing's box is the web map's, so a stop's place in it is a proportion."""
    place = web_place(field_map.outline, field_map.crs)
    drawn = still(field_map, unknown_part(field_map), place, words_of(field_map))
    first = field_map.losses.geometry.iloc[0]
    x, y = pyproj.Transformer.from_crs(field_map.crs, 3857, always_xy=True).transform(first.x, first.y)
    assert drawn.spots[0].x == pytest.approx(drawn.left + (x - place.west) / (place.east - place.west) * drawn.image_width, abs=0.1)
    assert drawn.spots[0].y == pytest.approx(drawn.top + (place.north - y) / (place.north - place.south) * drawn.image_height, abs=0.1)
    assert [(shape.why, shape.letter) for shape in drawn.shapes] == [("unknown", ""), ("speed", "A"), ("dryness", "B")]
    assert drawn.edge.count("M") == 1


def test_the_scale_bar_is_as_long_as_it_says(field_map: FieldMap) -> None:
    """500 ft of a field 1,950 ft wide."""
    place = web_place(field_map.outline, field_map.crs)
    drawn = still(field_map, None, place, words_of(field_map))
    ground_m = drawn.bar / drawn.image_width * (place.east - place.west) / place.stretch
    assert drawn.bar_text == "500 ft"
    assert ground_m == pytest.approx(500 * 0.3048, rel=1e-3)


def test_an_outline_is_drawn_near_its_cells_in_small_ways(field_map: FieldMap) -> None:
    """Truth: a stair of 60 steps becomes a few lines, none farther from it than is said."""
    place = web_place(field_map.outline, field_map.crs)
    west, south = shapely.bounds(field_map.outline)[:2]
    steps = np.repeat(np.arange(60) * 5.0, 2)
    stair = shapely.Polygon([*np.column_stack([west + 20 + steps[1:], south + 20 + steps[:-1]]), (west + 20, south + 320)])
    draw = Drawing(place)
    drawn = draw.path(shapely.simplify(stair, outline_within_m(field_map)))
    ways = np.array(re.findall(r"-?[\d.]+", drawn), dtype=float).reshape(-1, 2)
    assert len(ways) < 10
    corners = np.cumsum(ways, axis=0)
    web = np.column_stack([place.west + (corners[:, 0] - MARGIN) / draw.scale, place.north - (corners[:, 1] - MARGIN) / draw.scale])
    ground = shapely.Polygon(np.column_stack(place.to_field(*web.T)))
    assert shapely.hausdorff_distance(ground.exterior, stair.exterior) < outline_within_m(field_map) + 0.2
    assert draw.path(field_map.outline).count("Z") == 1
