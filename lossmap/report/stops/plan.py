"""stops-plan.geojson and stops-plan.gpx: where to count next, for maps, scripts, phones and GPS receivers.

GPX is version 1.1 (topografix.com/GPX/1/1): one waypoint a stop, the most useful first.
The cautions for those who count stand in both files, since those are what people carry.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import Any
from xml.etree import ElementTree

import geopandas as gpd
import shapely

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.field import Field
from lossmap.base.settings import Settings
from lossmap.base.tables import DRIVER_WORDS, LAYER_WORDS
from lossmap.base.units import factor
from lossmap.report.geojson import as_text, collection, lonlat
from lossmap.report.run_file import version
from lossmap.report.words import Words, count_of, sentence

__all__ = ["StopsPlan", "geojson_of_plan", "gpx_of_plan", "needed_in_words", "said_of_plan", "values_of_plan"]

GPX = "http://www.topografix.com/GPX/1/1"

# What XML 1.0 cannot hold, not even escaped.
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

# Ground beyond this share of all is named among the fastest (driest), beyond the next plainly fast (dry) [%].
AMONG, PLAINLY = 90.0, 70.0

_DRIVERS = {
    # driver: column, its rank, words from the low end to the high one
    "speed": ("speed_m_s", "speed_rank_pct", ("among the slowest ground", "slow ground", "fast ground", "among the fastest ground")),
    "dryness": ("moisture_pct", "moisture_rank_pct", ("among the driest grain", "dry grain", "damp grain", "among the dampest grain")),
}


@dataclass(frozen=True)
class StopsPlan:
    """A plan of stops and what it rests on; what `lossmap.report.stops.files` writes.

    Attributes
    ----------
    field : Field
    settings : Settings
    stops : PLAN
        In the order of usefulness.
    basis : tuple of str
        What the stops are spread over, or made for: ``place``, ``speed``, ``dryness``.
    counted : int
        Stops counted so far.
    needed : mapping of str to int or None
        For each driver without a verdict: how many such stops it takes; None where more than `most_needed`.
    most_needed : int
        How many were tried for that.
    is_fitted : bool
        Whether the counts so far decided where (else the stops are spread).
    notes : tuple of str
        What is missing and what follows from it.
    outline : geometry or None
        The field's edge [m in the stops' crs], for a sketch of where the stops are.
    seed_mass_g : Estimate
        Mass of a thousand seeds [g], for what a count amounts to; `NOTHING` leaves that out.
    clumping : float
        Variance that one frame has beyond a Poisson count's, over the squared mean.
    """

    field: Field
    settings: Settings
    stops: gpd.GeoDataFrame
    basis: tuple[str, ...]
    counted: int = 0
    needed: Mapping[str, int | None] = dataclass_field(default_factory=dict)
    most_needed: int = 0
    is_fitted: bool = False
    notes: tuple[str, ...] = ()
    outline: shapely.Geometry | None = None
    seed_mass_g: Estimate = NOTHING
    clumping: float = 0.0


def geojson_of_plan(plan: StopsPlan) -> str:
    """The plan as GeoJSON (RFC 7946); what holds for all stops are further members of the collection."""
    # a collection must not have properties of its own (RFC 7946, 7.1), but may have members of other names
    return as_text({"type": "FeatureCollection", **_head(plan), "features": _features(plan)})


def values_of_plan(plan: StopsPlan) -> dict[str, Any]:
    """The plan as plain values: what holds for all, and a row a stop with its longitude and latitude."""
    rows = [
        {**feature["properties"], "longitude": feature["geometry"]["coordinates"][0], "latitude": feature["geometry"]["coordinates"][1]}
        for feature in _features(plan)
    ]
    return {**_head(plan), "stops": rows}


def _head(plan: StopsPlan) -> dict[str, Any]:
    return {
        "name": f"Stops to count: {plan.field.facts.name}",
        "field_id": plan.field.id,
        "counted": plan.counted,
        "needed": dict(plan.needed),
        "says": [said_of_plan(plan), *needed_in_words(plan)],
        "notes": list(plan.notes),
        "cautions": [caution.text for caution in reference.cautions("count")],
    }


def _features(plan: StopsPlan) -> list[dict[str, Any]]:
    words = Words(plan.field.crop, plan.settings.report.units)
    table = plan.stops.assign(why=[_why(row, words) for row in plan.stops.to_dict("records")])
    if words.us:
        table = table.assign(**{us: table[si] * factor(unit, to) for us, (si, unit, to) in _US.items() if si in table})
    table = table.round({name: places for name, places in _PLACES.items() if name in table})
    kept = [name for name in _ORDER if name in table]
    return list(collection(table[[*kept, table.active_geometry_name]], kept, plan.field.crop)["features"])


def gpx_of_plan(plan: StopsPlan) -> str:
    """The plan as GPX 1.1 waypoints, in the order of usefulness."""
    words = Words(plan.field.crop, plan.settings.report.units)
    cautions = [caution.text for caution in reference.cautions("count")]
    root = ElementTree.Element("gpx", {"xmlns": GPX, "version": "1.1", "creator": f"lossmap {version()}"})
    metadata = ElementTree.SubElement(root, "metadata")
    _child(metadata, "name", f"Stops to count: {plan.field.facts.name}")
    _child(metadata, "desc", " ".join([f"{said_of_plan(plan)}.", *needed_in_words(plan), *map(sentence, plan.notes), *cautions]))
    for row, place in zip(plan.stops.to_dict("records"), lonlat(plan.stops.geometry), strict=True):
        point = ElementTree.SubElement(root, "wpt", {"lat": f"{place.y:.7f}", "lon": f"{place.x:.7f}"})
        _child(point, "name", str(row["stop"]))
        # the order of these is the schema's
        _child(point, "cmt", cautions[0])
        _child(point, "desc", f"{_why(row, words)}. Lay {count_of(row['frames'], 'frame')} at each position.")
        _child(point, "sym", "Flag")
    ElementTree.indent(root, " ")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ElementTree.tostring(root, encoding="unicode")}\n'


def said_of_plan(plan: StopsPlan) -> str:
    """The plan in one line: "24 stops, spread over place, ground speed and moisture"."""
    number = count_of(len(plan.stops), "stop")
    if not plan.is_fitted:
        away = f", away from the {plan.counted} counted" if plan.counted else ""
        named = {"place": "place", **LAYER_WORDS}
        return f"{number}, spread over {_listed([named[part] for part in plan.basis])}{away}"
    asked = [DRIVER_WORDS[part] for part in plan.basis if part != "place"]
    verdicts = f"the verdict{'' if len(asked) == 1 else 's'} on {_listed(asked)}, and for " if asked else ""
    return f"{number}, those that tell most for {verdicts}the map, after {count_of(plan.counted, 'stop')} counted"


def needed_in_words(plan: StopsPlan) -> list[str]:
    """How many stops each open verdict takes, a sentence each."""
    out = []
    for name, number in plan.needed.items():
        many = f"more than {plan.most_needed} further stops" if number is None else f"about {count_of(number, 'further stop')}"
        out.append(f"Whether loss tracks {DRIVER_WORDS[name]} can be said after {many} like these; plan again after counting some.")
    return out


# Properties of a stop, in this order, and those that have a twin in the units of the trade.
_ORDER = ("stop", "rank", "why", "reason", "frames", "speed_m_s", "speed_mph", "moisture_pct", "nearest_m", "nearest_ft")
_PLACES = {"speed_m_s": 2, "speed_mph": 1, "moisture_pct": 1, "nearest_m": 0, "nearest_ft": 0}
_US = {"speed_mph": ("speed_m_s", "m/s", "mph"), "nearest_ft": ("nearest_m", "m", "ft")}


def _why(row: Mapping[Any, Any], words: Words) -> str:
    """Why here, in words: "Among the fastest ground (5.8 mph), in the north-east of the field; no other stop within 410 ft"."""
    first = row["reason"]
    traits = [trait for name in sorted(_DRIVERS, key=lambda name: name != first) if (trait := _trait(row, name, words, name == first))]
    if not traits:
        alike = " cut alike" if "speed_rank_pct" in row or "moisture_rank_pct" in row else ""
        traits = [f"ground far from stops{alike}" if row["nearest_m"] == row["nearest_m"] else "a place to begin with"]
    where = "in the middle of the field" if row["part"] == "middle" else f"in the {row['part']} of the field"
    near = (
        f"; no stop counted or ranked higher within {words.length.text(row['nearest_m'])}" if row["nearest_m"] == row["nearest_m"] else ""
    )
    told = " and ".join(traits)
    return f"{told[0].upper()}{told[1:]}, {where}{near}"


def _trait(row: Mapping[Any, Any], name: str, words: Words, is_reason: bool) -> str:
    """What is special in how it was cut; "" where nothing is, unless it was chosen for that."""
    column, rank, ends = _DRIVERS[name]
    share = row.get(rank)
    if share is None or share != share:
        return ""
    shown = (words.speed if name == "speed" else words.moisture).text(row[column])
    if share >= AMONG or share <= 100 - AMONG:
        return f"{ends[3] if share >= AMONG else ends[0]} ({shown})"
    if not is_reason:
        return ""
    if share >= PLAINLY or share <= 100 - PLAINLY:
        return f"{ends[2] if share >= PLAINLY else ends[1]} ({shown})"
    return f"{'a ground speed' if name == 'speed' else 'a moisture'} not yet counted near here ({shown})"


def _listed(parts: list[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def _child(parent: ElementTree.Element, tag: str, text: str) -> None:
    ElementTree.SubElement(parent, tag).text = _xml(text)


def _xml(text: str) -> str:
    return _NOT_XML.sub("\ufffd", text)
