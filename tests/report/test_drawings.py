"""Drawings of the report."""

from __future__ import annotations

import dataclasses
import re

import matplotlib
import numpy as np

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.field import FieldMap
from lossmap.report.drawings import BAND, drawing_of_driver, drawing_of_sources
from lossmap.report.inline_svg import MARK, SOFT
from lossmap.report.numbers import words_of


def test_same_numbers_same_bytes_and_no_date(field_map: FieldMap) -> None:
    """Two drawings of one field are equal, and hold neither date nor metadata."""
    words = words_of(field_map)
    first, second = (drawing_of_sources(field_map.loss, words) for _ in range(2))
    assert first == second
    assert first is not None
    assert "metadata" not in first
    assert "bu/ac" in first


def test_drawings_share_no_id(field_map: FieldMap) -> None:
    """Three drawings stand in one page: ids must not collide, and references must still meet theirs."""
    words = words_of(field_map)
    effects = [drawing_of_driver(field_map, found, words) for found in field_map.drivers.values()]
    seen: set[str] = set()
    for drawing in (drawing_of_sources(field_map.loss, words), *(effect and effect.svg for effect in effects)):
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
    assert len(re.findall(r"<use [^>]*fill: #e13a26", drawing.svg)) == 11
    assert drawing.caption.startswith("Loss over ground speed at 11 stops.")


def test_line_and_band_are_the_curve(field_map: FieldMap) -> None:
    """Truth: heights of line and band on the sheet are those of the numbers, on one scale; the caption tells both ends."""
    words, curve = words_of(field_map), field_map.curves["dryness"]
    drawing = drawing_of_driver(field_map, field_map.drivers["dryness"], words)
    assert drawing is not None
    line = _heights(drawing.svg, rf'd="([^"]+)"[^>]*style="fill: none; stroke: {MARK}')
    band = _heights(drawing.svg, rf'd="([^"]+)"[^>]*style="fill: {BAND}')
    middles = np.array([one.mean for one in curve.loss_kg_ha])
    scale, zero = np.polyfit(middles, line, 1)
    assert np.abs(scale * middles + zero - line).max() < 0.01
    assert scale < 0
    for wanted in (min(one.low for one in curve.loss_kg_ha), max(one.high for one in curve.loss_kg_ha)):
        assert np.abs(band - (scale * wanted + zero)).min() < 0.01
    for place in (0, -1):
        assert f"{words.loss.interval(curve.loss_kg_ha[place])} at {words.moisture.text(curve.at[place])}" in drawing.caption
    assert drawing.caption in drawing.svg


def test_a_band_that_knows_nothing_does_not_flatten_the_stops(field_map: FieldMap) -> None:
    """Its top runs out of the drawing: the stops' own intervals keep two thirds of the height."""
    wide = dataclasses.replace(
        field_map.curves["speed"], loss_kg_ha=tuple(Estimate(one.mean, one.low, 1e5) for one in field_map.curves["speed"].loss_kg_ha)
    )
    drawing = drawing_of_driver(dataclasses.replace(field_map, curves={"speed": wide}), field_map.drivers["speed"], words_of(field_map))
    assert drawing is not None
    stops = _heights(drawing.svg, rf'd="([^"]+)"[^>]*style="fill: none; stroke: {SOFT}')
    assert np.ptp(stops) > 0.5 * 0.71 * 3.4 * 72


def _heights(svg: str, pattern: str) -> np.ndarray:
    """Heights on the sheet of every path that fits."""
    paths = re.findall(pattern, svg)
    assert paths
    return np.array([float(pair[1]) for path in paths for pair in re.findall(r"[ML] ([\d.-]+) ([\d.-]+)", path)])


def test_without_a_curve_the_stops_stand_alone(field_map: FieldMap) -> None:
    """No line, no band, no word of them."""
    drawing = drawing_of_driver(dataclasses.replace(field_map, curves={}), field_map.drivers["speed"], words_of(field_map))
    assert drawing is not None
    assert MARK not in drawing.svg
    assert BAND not in drawing.svg
    assert drawing.caption == "Loss over ground speed at 12 stops."


def test_nothing_known_is_no_drawing(field_map: FieldMap) -> None:
    """No empty axes."""
    words = words_of(field_map)
    assert drawing_of_sources(dict.fromkeys(field_map.loss, NOTHING), words) is None
    for losses in (field_map.losses.iloc[:1], field_map.losses.drop(columns="speed_m_s")):
        assert drawing_of_driver(dataclasses.replace(field_map, losses=losses), field_map.drivers["speed"], words) is None


def test_matplotlibs_own_settings_are_left_alone(field_map: FieldMap) -> None:
    """The library touches no global state."""
    before = dict(matplotlib.rcParams)
    drawing_of_sources(field_map.loss, words_of(field_map))
    assert dict(matplotlib.rcParams) == before
