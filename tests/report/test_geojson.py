"""stops.geojson and zones.geojson against RFC 7946 and the contract."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from lossmap.base import reference
from lossmap.base.field import FieldMap
from lossmap.report.geojson import as_text, geojson_of_stops, geojson_of_zones


def test_zones_have_the_contracts_properties_and_bushels(field_map: FieldMap) -> None:
    """Each _kg_ha has its _bu_ac twin: 62.768 kg/ha of corn is 1 bu/ac."""
    properties = geojson_of_zones(field_map)["features"][0]["properties"]
    assert list(properties)[:4] == ["zone_id", "reason", "area_ha", "loss_kg_ha"]
    wanted = {"loss", "loss_low", "loss_high", "excess", "excess_low", "excess_high"}
    assert {name.removesuffix("_kg_ha") for name in properties if name.endswith("_kg_ha")} == wanted
    assert {name.removesuffix("_bu_ac") for name in properties if name.endswith("_bu_ac")} == wanted
    assert properties["loss_bu_ac"] == pytest.approx(171.0 / 62.768, rel=1e-4)
    assert properties["why"] == "driven faster than 1.8 m/s"


def test_outer_rings_turn_left_and_holes_right(field_map: FieldMap) -> None:
    """RFC 7946 3.1.6, whatever way the table's rings turn; a multipolygon too."""
    ring = shapely.Polygon([(0, 0), (0, 90), (90, 90), (90, 0)], holes=[[(20, 20), (40, 20), (40, 40), (20, 40)]])
    ring = shapely.affinity.translate(ring, 431_100, 4_640_100)
    zones = field_map.zones.copy()
    zones["geometry"] = [ring, shapely.MultiPolygon([ring, shapely.affinity.translate(ring, 200)])]
    for feature in geojson_of_zones(dataclasses.replace(field_map, zones=zones))["features"]:
        shape = shapely.geometry.shape(feature["geometry"])
        for part in shapely.get_parts(shape):
            assert part.exterior.is_ccw
            assert not part.interiors[0].is_ccw


def test_places_are_lonlat_to_a_centimetre_without_crs_member(field_map: FieldMap) -> None:
    """Longitude first, seven decimals, back to the stop within 2 cm; no crs member."""
    collection = geojson_of_stops(field_map)
    assert set(collection) == {"type", "features"}
    places = np.array([feature["geometry"]["coordinates"] for feature in collection["features"]])
    assert (np.abs(np.round(places, 7) - places) == 0).all()
    back = gpd.GeoSeries(gpd.points_from_xy(*places.T), crs=4326).to_crs(field_map.crs)
    assert back.distance(field_map.losses.geometry).max() < 0.02


def test_gaps_are_null(field_map: FieldMap) -> None:
    """A source that cannot be separated is null in both units, and the file is JSON."""
    content = json.loads(as_text(geojson_of_stops(field_map)), parse_constant=_refuse)
    last = content["features"][-1]["properties"]
    assert last["header_kg_ha"] is None
    assert last["header_bu_ac"] is None
    assert last["total_kg_ha"] > 0


def _refuse(constant: str) -> Any:
    raise AssertionError(constant)


def test_no_zone_is_an_empty_collection(field_map: FieldMap) -> None:
    """Nothing can be shown: the file says so and still is GeoJSON."""
    empty = dataclasses.replace(field_map, zones=field_map.zones.iloc[:0])
    assert geojson_of_zones(empty) == {"type": "FeatureCollection", "features": []}


def test_a_crop_without_bushel_has_no_twins(field_map: FieldMap) -> None:
    """Sunflower is sold by weight."""
    field = dataclasses.replace(field_map.field, crop=reference.crop("sunflower"))
    properties = geojson_of_zones(dataclasses.replace(field_map, field=field))["features"][0]["properties"]
    assert not [name for name in properties if name.endswith("_bu_ac")]


def test_hostile_text_is_a_value_like_any_other(hostile_map: FieldMap, hostile: str) -> None:
    """Letter for letter through the file and back."""
    content = json.loads(as_text(geojson_of_stops(hostile_map)))
    assert content["features"][0]["properties"]["note"] == hostile
