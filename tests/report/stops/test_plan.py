"""stops-plan.geojson and stops-plan.gpx: right for map programs, receivers and people who stand in a field."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pyogrio
import pytest

from lossmap.base import reference
from lossmap.base.field import FieldMap
from lossmap.base.settings import Settings, build
from lossmap.report.stops.files import write_plan
from lossmap.report.stops.plan import StopsPlan, geojson_of_plan, gpx_of_plan, needed_in_words, said_of_plan, values_of_plan

GPX = "{http://www.topografix.com/GPX/1/1}"
# GPX 1.1, from memory: what a waypoint and the metadata may hold, in this order (sequences of the schema).
OF_WAYPOINT = ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat"]
OF_METADATA = ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"]


def test_a_stop_says_why_it_is_there(plan: StopsPlan) -> None:
    """What is special in how it was cut, in which part of the field, and how far the next stop is; in the units asked for."""
    stops = json.loads(geojson_of_plan(plan))["features"]
    assert [stop["properties"]["why"] for stop in stops] == [
        "Among the fastest ground (5.8 mph), in the north-east of the field; no stop counted or ranked higher within 410 ft",
        "Among the driest grain (14.9 %), in the middle of the field; no stop counted or ranked higher within 133 ft",
        "Ground far from stops cut alike, in the south of the field; no stop counted or ranked higher within 266 ft",
    ]
    metric = dataclasses.replace(plan, settings=build(Settings, {"report": {"units": "metric"}}, "made.toml"))
    first = json.loads(geojson_of_plan(metric))["features"][0]["properties"]
    assert first["why"].startswith("Among the fastest ground (9.4 km/h), in the north-east of the field; no stop")
    assert "speed_mph" not in first


@pytest.mark.parametrize(
    ("reason", "speed_share", "moisture_share", "words"),
    [
        ("speed", 75.0, 50.0, "Fast ground (5.8 mph)"),
        ("speed", 25.0, 50.0, "Slow ground (5.8 mph)"),
        ("speed", 5.0, 96.0, "Among the slowest ground (5.8 mph) and among the dampest grain (16.2 %)"),
        ("dryness", 95.0, 4.0, "Among the driest grain (16.2 %) and among the fastest ground (5.8 mph)"),
        ("dryness", 50.0, 80.0, "Damp grain (16.2 %)"),
        ("dryness", 50.0, 50.0, "A moisture not yet counted near here (16.2 %)"),
        ("speed", 50.0, 50.0, "A ground speed not yet counted near here (5.8 mph)"),
        ("place", 50.0, 50.0, "Ground far from stops cut alike"),
    ],
)
def test_words_follow_the_ground(plan: StopsPlan, reason: str, speed_share: float, moisture_share: float, words: str) -> None:
    """Each place in the field's range of speeds and moistures has its words, the reason first."""
    one = plan.stops.iloc[:1].assign(reason=reason, speed_rank_pct=speed_share, moisture_rank_pct=moisture_share)
    assert values_of_plan(dataclasses.replace(plan, stops=one))["stops"][0]["why"].startswith(f"{words}, in the north-east of the field")


def test_without_a_log_places_alone_are_told(plan: StopsPlan) -> None:
    """No speed, no moisture, no word of them; the first stop of all has no neighbour to name."""
    bare = plan.stops.drop(columns=["speed_m_s", "speed_rank_pct", "moisture_pct", "moisture_rank_pct"])
    bare["reason"], bare["nearest_m"] = "place", [np.nan, 40.0, 81.0]
    stops = values_of_plan(dataclasses.replace(plan, stops=bare))["stops"]
    assert stops[0]["why"] == "A place to begin with, in the north-east of the field"
    assert stops[0]["nearest_m"] is None
    assert stops[1]["why"] == "Ground far from stops, in the middle of the field; no stop counted or ranked higher within 131 ft"
    assert not {"speed_m_s", "speed_mph", "moisture_pct"} & set(stops[0])


def test_the_plan_in_one_line(plan: StopsPlan) -> None:
    """What it rests on and what it is for, before any count, after too few, and after a round."""
    assert (
        said_of_plan(plan)
        == "3 stops, those that tell most for the verdicts on ground speed and dryness, and for the map, after 12 stops counted"
    )
    one = dataclasses.replace(plan, basis=("place", "dryness"))
    assert said_of_plan(one) == "3 stops, those that tell most for the verdict on dryness, and for the map, after 12 stops counted"
    assert (
        said_of_plan(dataclasses.replace(plan, basis=("place",), counted=1))
        == "3 stops, those that tell most for the map, after 1 stop counted"
    )
    spread = dataclasses.replace(plan, is_fitted=False, counted=0, needed={})
    assert said_of_plan(spread) == "3 stops, spread over place, ground speed and moisture"
    assert said_of_plan(dataclasses.replace(spread, basis=("place",), counted=5)) == "3 stops, spread over place, away from the 5 counted"
    assert needed_in_words(spread) == []
    assert needed_in_words(plan) == [
        "Whether loss tracks ground speed can be said after about 14 further stops like these; plan again after counting some.",
        "Whether loss tracks dryness can be said after more than 100 further stops like these; plan again after counting some.",
    ]


def test_geojson_is_a_collection_with_members_of_its_own(plan: StopsPlan) -> None:
    """RFC 7946: no crs, no properties of the collection; cautions and notes as further members; places to 2 cm."""
    content = json.loads(geojson_of_plan(plan))
    assert content["type"] == "FeatureCollection"
    assert not {"crs", "properties", "geometry", "coordinates"} & set(content)
    assert content["cautions"] == [caution.text for caution in reference.cautions("count")]
    assert content["notes"] == ["a note"]
    assert content["needed"] == {"speed": 14, "dryness": None}
    properties = [feature["properties"] for feature in content["features"]]
    assert list(properties[0])[:5] == ["stop", "rank", "why", "reason", "frames"]
    assert properties[0]["speed_mph"] == 5.8
    assert properties[2]["speed_m_s"] is None
    places = [feature["geometry"]["coordinates"] for feature in content["features"]]
    back = gpd.GeoSeries(gpd.points_from_xy(*np.transpose(places)), crs=4326).to_crs(plan.stops.crs)
    assert back.distance(plan.stops.geometry).max() < 0.02


def test_gpx_is_as_the_standard_wants(plan: StopsPlan) -> None:
    """Namespace, version, creator, and children in the order of the schema; one waypoint a stop in the order of rank."""
    root = ElementTree.fromstring(gpx_of_plan(plan))
    assert root.tag == f"{GPX}gpx"
    assert root.get("version") == "1.1"
    assert re.fullmatch(r"lossmap \S+", str(root.get("creator")))
    assert [child.tag for child in root] == [f"{GPX}metadata", *[f"{GPX}wpt"] * 3]
    for child in root:
        order = OF_METADATA if child.tag == f"{GPX}metadata" else OF_WAYPOINT
        places = [order.index(part.tag.removeprefix(GPX)) for part in child]
        assert places == sorted(set(places))
    for point in root.findall(f"{GPX}wpt"):
        assert set(point.attrib) == {"lat", "lon"}
        assert -90 <= float(point.attrib["lat"]) <= 90
        assert -180 <= float(point.attrib["lon"]) < 180
    assert [point.findtext(f"{GPX}name") for point in root.findall(f"{GPX}wpt")] == ["P4", "P5", "P6"]


def test_another_reader_understands_the_gpx(plan: StopsPlan, tmp_path: Path) -> None:
    """GDAL's GPX reader finds every waypoint where the stop is, with its words."""
    write_plan(plan, tmp_path)
    found = pyogrio.read_dataframe(tmp_path / "stops-plan.gpx", layer="waypoints")
    assert found["name"].tolist() == ["P4", "P5", "P6"]
    assert found["desc"].iloc[0].endswith("within 410 ft. Lay 4 frames at each position.")
    assert found["desc"].iloc[2].endswith("Lay 1 frame at each position.")
    assert found.to_crs(plan.stops.crs).distance(plan.stops.geometry).max() < 0.02


def test_cautions_stand_where_people_look(plan: StopsPlan) -> None:
    """All in the file's description, the one that saves lives beside every waypoint."""
    root = ElementTree.fromstring(gpx_of_plan(plan))
    told = str(root.findtext(f"{GPX}metadata/{GPX}desc"))
    texts = [caution.text for caution in reference.cautions("count")]
    assert all(text in told for text in texts)
    assert " A note. Before anyone" in told
    assert {point.findtext(f"{GPX}cmt") for point in root.findall(f"{GPX}wpt")} == {texts[0]}
    assert "key out" in texts[0]


def test_hostile_names_are_text(make_plan: Callable[..., StopsPlan], hostile_map: FieldMap, hostile: str) -> None:
    """Markup in a field's name goes letter for letter through both files and back."""
    plan = make_plan(hostile_map)
    assert ElementTree.fromstring(gpx_of_plan(plan)).findtext(f"{GPX}metadata/{GPX}name") == f"Stops to count: {hostile}"
    assert json.loads(geojson_of_plan(plan))["name"] == f"Stops to count: {hostile}"


def test_what_xml_cannot_hold_is_replaced(make_plan: Callable[..., StopsPlan], field_map: FieldMap) -> None:
    """Control characters and half characters, which no XML file may hold, become the replacement character."""
    facts = field_map.field.facts.model_copy(update={"name": "a\x00b\x1bc\ufffed\ud800e\tf ]]> \U0001f33d"})
    plan = make_plan(dataclasses.replace(field_map, field=dataclasses.replace(field_map.field, facts=facts)))
    name = ElementTree.fromstring(gpx_of_plan(plan)).findtext(f"{GPX}metadata/{GPX}name")
    assert name == "Stops to count: a\ufffdb\ufffdc\ufffdd\ufffde\tf ]]> \U0001f33d"
