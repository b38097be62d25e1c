"""map.html: one self-contained file that opens without a network, on a phone in the field.

Every word of the page that comes from a file is a value of an autoescaped template or
stands in one JSON block, from which the page's script takes it as text. The page's
security policy forbids any request, and any script but the four whose hashes it names.
"""

from __future__ import annotations

from typing import Any

import markupsafe
import shapely

from lossmap.base import reference
from lossmap.base.field import FieldMap
from lossmap.report.advice import first_step, yardstick
from lossmap.report.map import leaflet
from lossmap.report.map.foliummap import folium_script
from lossmap.report.map.layers import Layer, Layers, layers_of
from lossmap.report.map.packing import deflated, over_grid
from lossmap.report.map.picture import Steps
from lossmap.report.map.pointbytes import point_bytes, shown_levels
from lossmap.report.money import money_line, price_of
from lossmap.report.numbers import (
    doubt_line,
    flat_line,
    grain_line,
    headline,
    loss_rows,
    more_counts,
    seeds_line,
    subtitle,
    words_of,
)
from lossmap.report.projection import WebPlace, web_place
from lossmap.report.rows import letter_at, stop_rows, stop_table, zone_rows
from lossmap.report.run_file import version
from lossmap.report.sentences import after_largest, driver, largest_sources
from lossmap.report.still import Still, outline_within_m, still
from lossmap.report.templates import LIVE, asset, filled, json_block, policy, script
from lossmap.report.unknown import UNKNOWN_BEYOND_M, UNKNOWN_RATIO, unknown_part
from lossmap.report.words import ODDS, Scale, Words, count_of

__all__ = ["packed_cells", "webmap"]

#: Parts of the page's own script, in the order in which they are read.
SCRIPT = ("numbers", "unpack", "points", "layers", "labels", "reading", "tools", "start")


def webmap(field_map: FieldMap) -> str:
    """The content of map.html: same field, same bytes.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    words = words_of(field_map)
    place = web_place(field_map.outline, field_map.crs)
    drawn, unknown = layers_of(field_map, place, words), unknown_part(field_map)
    points, basemap = point_bytes(field_map, drawn, words), _basemap(field_map)
    zones = zone_rows(field_map, words)
    drawing = still(field_map, unknown, place, words)
    for_script = {
        **_for_script(field_map, place, drawn, points, words),
        "zones": _zones(field_map, zones),
        "basemap": basemap,
        "still": _frame(drawing),
    }
    scripts = {
        "first": LIVE,
        "leaflet": leaflet.script(),
        "folium": folium_script(field_map, place, drawn),
        "own": script("map", SCRIPT),
    }
    return filled(
        "map.html.j2",
        policy=policy(scripts.values(), basemap["host"] if basemap else None),
        basemap=basemap,
        scripts={name: markupsafe.Markup(text) for name, text in scripts.items()},
        styles=markupsafe.Markup(leaflet.style() + asset("page.css") + asset("field.css") + asset("map.css")),
        licence=leaflet.licence(),
        for_script=json_block(for_script),
        packed={"points": points["packed"] if points else "", "cells": packed_cells(drawn) if drawn else ""},
        layers=drawn.layers if drawn else (),
        points=points,
        coarse=_coarse_line(field_map, drawn, points, words),
        unknown=_unknown_line(field_map, unknown, words),
        still=drawing,
        zones=zones,
        **_texts(field_map, unknown, words),
    )


def _basemap(field_map: FieldMap) -> dict[str, str] | None:
    """The server that may be asked for pictures of the ground once somebody ticks it; None where none was set."""
    asked = field_map.settings.report
    if asked.basemap is None:
        return None
    return {"url": asked.basemap, "host": asked.basemap.split("/")[2], "credit": asked.basemap_credit or ""}


def _texts(field_map: FieldMap, unknown: shapely.Geometry | None, words: Words) -> dict[str, Any]:
    """What the page says beside its map."""
    return {
        "title": field_map.field.facts.name,
        "subtitle": subtitle(field_map, words),
        "headline": headline(field_map, words),
        "doubt": doubt_line(),
        "flat": flat_line(field_map),
        "grain": grain_line(field_map, words),
        "money": money_line(field_map, words),
        "seeds": seeds_line(field_map, words),
        "usual": yardstick(field_map, words)[0],
        "first": first_step(field_map.drivers, words, price_of(field_map), field_map.pace),
        "largest": after_largest(largest_sources(field_map.loss)),
        "more": more_counts(field_map, unknown),
        "rows": loss_rows(field_map, words),
        "harvest": words.harvest.text(field_map.yield_kg_ha),
        "other_system": "metric" if words.us else "US",
        "drivers": [driver(found, words, price_of(field_map)) for found in field_map.drivers.values()],
        "stops": stop_table(field_map, words),
        "counted": f"{count_of(len(field_map.losses), 'stop')} counted",
        "notes": (*field_map.notes, *field_map.cleaning.notes),
        "cautions": (*reference.cautions("count"), *reference.cautions("fire")),
        "version": version(),
    }


def _unknown_line(field_map: FieldMap, unknown: shapely.Geometry | None, words: Words) -> str:
    """The rule of the hatch, in words; "" where nothing is hatched."""
    if unknown is None:
        return ""
    return (
        f"{words.area.text(float(shapely.area(unknown)) / 10_000)} of {words.area.text(field_map.area_ha)}: "
        f"no stop within {words.length.text(UNKNOWN_BEYOND_M)}, and the 90 % interval spans more than {UNKNOWN_RATIO:g}-fold."
    )


def _coarse_line(field_map: FieldMap, drawn: Layers | None, points: dict[str, Any] | None, words: Words) -> str:
    """Says what the page leaves out, and which file has it."""
    parts = []
    if drawn is not None and drawn.cell_times > 1:
        parts.append(f"This page shows means over squares of {words.length.text(drawn.grid.cell_m)}; surfaces.tif holds every cell.")
    if points is not None and points["every"] > 1:
        parts.append(f"It draws 1 point in {points['every']}; points.parquet holds every record.")
    if points is not None and points["away"]:
        lie = "record lies" if points["away"] == 1 else "records lie"
        parts.append(f"{points['away']:,} {lie} far from the field and cannot be drawn.")
    if len(field_map.zones):
        near = words.length.text(outline_within_m(field_map))
        parts.append(f"Outlines of zones are drawn to within {near}; zones.geojson holds them cell by cell.")
    return " ".join(parts)


def _for_script(field_map: FieldMap, place: WebPlace, drawn: Layers | None, points: dict[str, Any] | None, words: Words) -> dict[str, Any]:
    """Every number and word that the page's own script needs."""
    return {
        "toField": place.to_field.for_script(),
        "toWeb": place.to_web.for_script(),
        "box": [round(value, 3) for value in (place.west, place.south, place.east, place.north)],
        "bounds": [list(corner) for corner in place.bounds],
        "grid": _grid(drawn) if drawn is not None else None,
        "points": {name: value for name, value in points.items() if name != "packed"} if points else None,
        "stops": [
            {**row, "at": [round(point.x, 2), round(point.y, 2)]}
            for row, point in zip(stop_rows(field_map, words), field_map.losses.geometry, strict=True)
        ],
        "length": _scale(words.length),
        "area": _scale(words.area),
        "odds": ODDS,
    }


def _frame(drawing: Still) -> dict[str, float]:
    """Where the field's box lies in the still drawing, whose outlines the live map takes over."""
    return {"left": drawing.left, "top": drawing.top, "width": drawing.image_width}


def _zones(field_map: FieldMap, rows: list[dict[str, str]]) -> list[dict[str, Any]]:
    """Words of each zone, and where on the ground its letter stands."""
    return [
        {**row, "at": [round(metres, 2) for metres in letter_at(shape, number)]}
        for number, (row, shape) in enumerate(zip(rows, field_map.zones.geometry, strict=True))
    ]


def _scale(scale: Scale) -> dict[str, Any]:
    return {"factor": scale.factor, "unit": scale.unit}


def _grid(drawn: Layers) -> dict[str, Any]:
    """Where the surfaces' cells are, and what their codes stand for."""
    grid = drawn.grid
    return {
        "west": grid.west_m,
        "north": grid.north_m,
        "cell": grid.cell_m,
        "rows": grid.rows,
        "cols": grid.cols,
        "layers": [
            {
                "key": layer.key,
                "name": layer.name,
                "unit": layer.scale.unit,
                "places": layer.places,
                "levels": shown_levels(layer.steps, layer.scale),
            }
            for layer in _read(drawn)
        ],
        "bounds": [shown_levels(part, drawn.layers[0].scale) for part in _ends(drawn)],
    }


def packed_cells(drawn: Layers) -> str:
    """The codes themselves."""
    return deflated(*(over_grid(layer.steps.codes) for layer in _read(drawn)), *(over_grid(part.codes) for part in _ends(drawn)))


def _read(drawn: Layers) -> list[Layer]:
    """The layers that a tap reads; how sure the loss is stands in its interval."""
    return [layer for layer in drawn.layers if layer.key != "sure"]


def _ends(drawn: Layers) -> list[Steps]:
    return [part for part in (drawn.low, drawn.high) if part is not None]
