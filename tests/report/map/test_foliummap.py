"""What folium lays out: codes and numbers, nothing to fetch, the same every time."""

from __future__ import annotations

import dataclasses
import re

import folium

from lossmap.base.field import FieldMap
from lossmap.report.map.foliummap import folium_script
from lossmap.report.map.layers import layers_of
from lossmap.report.numbers import words_of
from lossmap.report.projection import web_place


def script_of(field_map: FieldMap) -> str:
    """The script folium writes for a field."""
    place = web_place(field_map.outline, field_map.crs)
    return folium_script(field_map, place, layers_of(field_map, place, words_of(field_map)))


def test_layers_are_variables_named_after_their_codes(field_map: FieldMap) -> None:
    """Our script finds each by its name."""
    found = set(re.findall(r"var (\w+) = L\.", script_of(field_map)))
    images = {f"image_overlay_{key}" for key in ("loss", "sure", "yield", "moisture", "speed")}
    assert found == {"map_field", *images, "geo_json_edge", "geo_json_stops"}


def test_pictures_are_written_once(field_map: FieldMap) -> None:
    """The page holds them for readers without scripts; here their places stand."""
    assert "image/png" not in script_of(field_map)


def test_same_field_same_script(field_map: FieldMap) -> None:
    """folium's random ids do not show."""
    assert script_of(field_map) == script_of(field_map)


def test_no_text_of_a_file_reaches_folium(field_map: FieldMap, hostile_map: FieldMap) -> None:
    """folium runs embedded text as a template; with hostile text everywhere its script stays the same."""
    assert script_of(hostile_map) == script_of(field_map)


def test_no_address_but_the_features_own(field_map: FieldMap) -> None:
    """Nothing in the script names a host."""
    assert "http" not in script_of(field_map)


def test_other_maps_keep_their_files(field_map: FieldMap) -> None:
    """folium's lists are shared by all maps of a process; ours does not empty them."""
    script_of(field_map)
    assert folium.Map().default_js


def test_empty_parts_are_left_out(field_map: FieldMap) -> None:
    """A field without stops, zones and surfaces still has its map and edge."""
    bare = dataclasses.replace(field_map, zones=field_map.zones.iloc[:0], losses=field_map.losses.iloc[:0], surfaces={})
    assert set(re.findall(r"var (\w+) = L\.", script_of(bare))) == {"map_field", "geo_json_edge"}
