"""Drawings of the report."""

from __future__ import annotations

import dataclasses
import re

import matplotlib
import numpy as np

from lossmap.base.estimates import NOTHING
from lossmap.base.field import FieldMap
from lossmap.report.drawings import drawing_of_driver, drawing_of_sources
from lossmap.report.numbers import words_of


def test_same_numbers_same_bytes_and_no_date(field_map: FieldMap) -> None:
    """Two drawings of one field are equal, and hold neither date nor metadata."""
    words = words_of(field_map)
    first, second = (drawing_of_sources(field_map, words) for _ in range(2))
    assert first == second
    assert first is not None
    assert "metadata" not in first
    assert "bu/ac" in first


def test_drawings_share_no_id(field_map: FieldMap) -> None:
    """Three drawings stand in one page: ids must not collide, and references must still meet theirs."""
    words = words_of(field_map)
    drawings = [drawing_of_sources(field_map, words), *(drawing_of_driver(field_map, found, words) for found in field_map.drivers.values())]
    seen: set[str] = set()
    for drawing in drawings:
        assert drawing is not None
        own = set(re.findall(r'\bid="([^"]+)"', drawing))
        assert not own & seen
        assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', drawing)) <= own
        seen |= own


def test_every_stop_that_has_speed_is_a_dot(field_map: FieldMap) -> None:
    """Twelve stops, one without speed: eleven markers."""
    losses = field_map.losses.copy()
    losses.loc[0, "speed_m_s"] = np.nan
    drawing = drawing_of_driver(dataclasses.replace(field_map, losses=losses), field_map.drivers["speed"], words_of(field_map))
    assert drawing is not None
    assert len(re.findall(r"<use [^>]*fill: #e13a26", drawing)) == 11


def test_nothing_known_is_no_drawing(field_map: FieldMap) -> None:
    """No empty axes."""
    words = words_of(field_map)
    assert drawing_of_sources(dataclasses.replace(field_map, loss=dict.fromkeys(field_map.loss, NOTHING)), words) is None
    for losses in (field_map.losses.iloc[:1], field_map.losses.drop(columns="speed_m_s")):
        assert drawing_of_driver(dataclasses.replace(field_map, losses=losses), field_map.drivers["speed"], words) is None


def test_matplotlibs_own_settings_are_left_alone(field_map: FieldMap) -> None:
    """The library touches no global state."""
    before = dict(matplotlib.rcParams)
    drawing_of_sources(field_map, words_of(field_map))
    assert dict(matplotlib.rcParams) == before
