"""Drawings of the cleaning."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable

import numpy as np
import shapely

from lossmap.base.field import FieldMap
from lossmap.report.cleaned_drawings import MOST_MARKS, drawing_of_delay, drawing_of_flags, drawing_of_yields
from lossmap.report.numbers import words_of


def places(svg: str, group: str) -> list[tuple[int, int]]:
    """Where a group's marks stand, read back from its path."""
    found = re.search(rf'<path d="M(\d+) (\d+)l0 0([^"]*)"[^>]*url\(#flag-{group}\)', svg)
    assert found is not None
    steps = np.array([int(number) for number in re.findall(r"-?\d+", found[3])], dtype=int).reshape(-1, 2)
    start = np.array([[int(found[1]), int(found[2])]])
    return [(int(x), int(y)) for x, y in np.concatenate([start, start + np.cumsum(steps, axis=0)])]


def test_same_field_same_bytes_and_well_formed(field_map: FieldMap) -> None:
    """Every drawing is deterministic, is an image with words, and parses."""
    words, late = words_of(field_map), field_map.cleaning.moisture_delay
    for make in (
        lambda: drawing_of_flags(field_map, words),
        lambda: drawing_of_yields(field_map, words),
        lambda: drawing_of_delay("moisture", late, words),
    ):
        drawn = make()
        assert drawn is not None
        assert drawn == make()
        element = ET.fromstring(drawn.svg)
        assert element.attrib["role"] == "img"
        assert len(element.attrib["aria-label"]) > 40


def test_flags_lie_where_their_records_lie(field_map: FieldMap) -> None:
    """A lone speed change at the field's far corner is drawn there, in the frame's own scale; north is up."""
    west, south, east, north = field_map.outline.bounds
    points = field_map.points.iloc[:3].copy()
    points["flag"] = ["speed change", "speed change", "no yield"]
    points.geometry = [shapely.Point(west, north), shapely.Point(east, south), shapely.Point(west, south)]
    drawn = drawing_of_flags(dataclasses.replace(field_map, points=points), words_of(field_map))
    assert drawn is not None
    (left, top), (right, bottom) = places(drawn.svg, "speed")
    ((x, y),) = places(drawn.svg, "values")
    assert right > left
    assert bottom > top
    assert abs(x - left) <= 1
    assert abs(y - bottom) <= 1
    assert abs((right - left) / (bottom - top) - (east - west) / (north - south)) < 0.02
    assert [(title, number) for _, title, number in drawn.key] == [("speed change", "2"), ("values", "1")]


def test_records_without_a_place_are_told_not_drawn(field_map: FieldMap) -> None:
    """No geometry, far away, and section rows: words, in their number."""
    points = field_map.points.iloc[:5].copy()
    points["flag"] = ["pass end", "bad position", "bad position", "section row", "section row"]
    inside = field_map.outline.representative_point()
    points.geometry = [inside, shapely.Point(), shapely.Point(0, 0), inside, inside]
    drawn = drawing_of_flags(dataclasses.replace(field_map, points=points), words_of(field_map))
    assert drawn is not None
    assert "2 records with no place on or near the field not drawn" in drawn.caption
    assert "2 section rows not drawn" in drawn.caption
    assert len(places(drawn.svg, "ends")) == 1


def test_nothing_flagged_is_no_drawing(field_map: FieldMap) -> None:
    """No empty map, no empty axes."""
    points = field_map.points.copy()
    points["flag"] = ""
    assert drawing_of_flags(dataclasses.replace(field_map, points=points), words_of(field_map)) is None
    points["yield_kg_ha"] = np.nan
    assert drawing_of_yields(dataclasses.replace(field_map, points=points), words_of(field_map)) is None


def test_marks_are_thinned_evenly_and_it_is_said(made: Callable[..., FieldMap]) -> None:
    """A log of which everything is doubted: no more marks than can be told apart."""
    field_map = made((80, 120), 25_000)
    points = field_map.points.copy()
    points["flag"] = "not working"
    drawn = drawing_of_flags(dataclasses.replace(field_map, points=points), words_of(field_map))
    assert drawn is not None
    assert len(places(drawn.svg, "idle")) <= MOST_MARKS
    left_out = re.search(r"([\d,]+) marks left out evenly", drawn.caption)
    assert left_out is not None
    assert 0 < int(left_out[1].replace(",", "")) <= 25_000 - MOST_MARKS
    assert len(drawn.svg) < 150_000


def test_yields_outside_the_drawing_are_counted(field_map: FieldMap) -> None:
    """Ten wild yields do not stretch the axis; the caption says how many lie beyond."""
    points = field_map.points.copy()
    rows = np.flatnonzero(points["flag"] == "")[:10]
    points.loc[points.index[rows], "flag"] = "beyond crop limits"
    points.loc[points.index[rows], "yield_kg_ha"] = 90_000.0
    drawn = drawing_of_yields(dataclasses.replace(field_map, points=points), words_of(field_map))
    assert drawn is not None
    assert "10 records outside the drawing" in drawn.caption


def test_a_delay_names_its_best_value_and_interval(field_map: FieldMap) -> None:
    """In the drawing and in its words; without a curve there is none."""
    late = field_map.cleaning.moisture_delay
    drawn = drawing_of_delay("moisture", late, words_of(field_map))
    assert drawn is not None
    assert "best 11.0 s" in drawn.svg
    assert "at 11.0 s, 90 % interval 9.2 to 12.8 s" in drawn.svg
    assert drawing_of_delay("moisture", dataclasses.replace(late, curve=()), words_of(field_map)) is None
