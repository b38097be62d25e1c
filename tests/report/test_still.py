"""The still drawing."""

from __future__ import annotations

import pyproj
import pytest

from lossmap.base.field import FieldMap
from lossmap.report.layers import unknown_part
from lossmap.report.numbers import words_of
from lossmap.report.projection import web_place
from lossmap.report.still import still


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
