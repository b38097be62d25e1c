"""Stops and zones in words: the rows of both pages' lists and tables."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.estimates import Estimate
from lossmap.base.field import FieldMap
from lossmap.base.tables import SOURCES
from lossmap.report.sentences import POSITION_WORDS, zone
from lossmap.report.words import NOT_KNOWN, Words, plain

__all__ = ["letter_at", "stop_rows", "stop_table", "where_in_field", "zone_code", "zone_rows"]


def zone_rows(field_map: FieldMap, words: Words) -> list[dict[str, str]]:
    """Each zone: its letter, its code, a head that says how much of the field and where, and a plain sentence."""
    rows = []
    for number, row in enumerate(_rows(field_map.zones)):
        reason = zone_code(row["reason"])
        surface = field_map.surfaces.get("speed_m_s" if reason == "speed" else "moisture_pct")
        cut_at = float("nan")
        if surface is not None:
            inside = surface.mean[surface.grid.inside(field_map.zones.geometry.iloc[number])]
            cut_at = float(np.nanmean(inside)) if np.isfinite(inside).any() else cut_at
        where = where_in_field(field_map.zones.geometry.iloc[number], field_map.outline)
        head = f"{row['zone_id']}: {'faster' if reason == 'speed' else 'drier'}, {words.area.text(row['area_ha'])}, {where}"
        rows.append({"letter": str(row["zone_id"]), "why": reason, "head": head, "text": zone(reason, row, cut_at, words)})
    return rows


def zone_code(reason: object) -> str:
    """A zone's reason as a code of our own, whatever text the table holds."""
    return str(reason) if reason in ("speed", "dryness") else "other"


def where_in_field(zone: shapely.Geometry, outline: shapely.Geometry) -> str:
    """Where a part of the field lies, for those who do not see the map: "in the south-west", "in 7 patches all over the field"."""
    west, south, east, north = shapely.bounds(outline)
    size = np.array([east - west, north - south])
    left, low, right, high = shapely.bounds(zone)
    is_wide = (np.array([right - left, high - low]) > 0.75 * size).all()
    parts = len(shapely.get_parts(zone))
    patches = f"in {parts} patches " if parts > 1 else ""
    across, up = (shapely.get_coordinates(shapely.centroid(zone))[0] - [west, south]) / size
    side = "-".join(part for part in (_side(up, "south", "north"), _side(across, "west", "east")) if part)
    if is_wide and not side:
        return f"{patches}all over the field" if patches else "over most of the field"
    return f"{patches}{'mostly ' if is_wide else ''}in the {side or 'middle'}"


def _side(share: float, low: str, high: str) -> str:
    """The side on which something lies; nothing in the middle sixth."""
    return low if share < 0.42 else high if share > 0.58 else ""


def letter_at(shape: shapely.Geometry, number: int) -> tuple[float, float]:
    """Where the letter of zone `number` stands: inside its largest part [m], on one of three heights.

    Zones are often strips side by side; letters all at half their height would hide each other.
    """
    largest = max(shapely.get_parts(shape), key=shapely.area)
    west, south, east, north = shapely.bounds(largest)
    height = south + (north - south) * (0.5, 0.3, 0.7)[number % 3]
    across = shapely.get_parts(shapely.intersection(largest, shapely.linestrings([(west, height), (east, height)])))
    place = shapely.line_interpolate_point(max(across, key=shapely.length), 0.5, normalized=True)
    return float(shapely.get_x(place)), float(shapely.get_y(place))


def _rows(table: gpd.GeoDataFrame) -> list[dict[Any, Any]]:
    return list(table.drop(columns=table.geometry.name).to_dict("records"))


def stop_rows(field_map: FieldMap, words: Words) -> list[dict[str, str]]:
    """Each stop in words, for its popup."""
    return [_stop(row, words) for row in _rows(field_map.losses)]


def _stop(row: dict[Any, Any], words: Words) -> dict[str, str]:
    loss = {source: words.loss.interval(_loss(row, source)) for source in ("total", *SOURCES)}
    return {
        "name": str(row["stop_id"]),
        "short": words.loss.number(float(row["total_kg_ha"])),
        **loss,
        "counted": _counted(row, words),
        "speed": words.speed.text(float(row.get("speed_m_s", np.nan))),
        "moisture": words.moisture.text(float(row.get("moisture_pct", np.nan))),
        "note": _note(row),
    }


def stop_table(field_map: FieldMap, words: Words) -> dict[str, Any]:
    """Each stop in numbers whose units stand in the head, one line a stop; notes below, each once.

    Returns
    -------
    dict
        ``head`` (texts), ``rows`` (``name``, ``cells``, ``note``: its number, 0 without one) and ``notes`` (texts).
    """
    notes: list[str] = []
    rows = []
    for row in _rows(field_map.losses):
        note = _note(row)
        if note and note not in notes:
            notes.append(note)
        areas = dict.fromkeys(words.frame.number(float(row[f"frame_m2_{position}"])) for position in _counted_positions(row))
        cells = [
            *(words.loss.interval(_loss(row, source)).replace(f" {words.loss.unit}", "") for source in ("total", *SOURCES)),
            *(_in_short(row, position, words) for position in POSITION_WORDS),
            ", ".join(areas),
            words.speed.number(float(row.get("speed_m_s", np.nan))),
            words.moisture.number(float(row.get("moisture_pct", np.nan))),
        ]
        rows.append({"name": str(row["stop_id"]), "cells": cells, "note": notes.index(note) + 1 if note else 0})
    head = [
        f"loss, all sources, {words.loss.unit}",
        *(f"{source}, {words.loss.unit}" for source in SOURCES),
        *(f"seeds {said}" for said in POSITION_WORDS.values()),
        f"on {words.frame.unit}",
        f"cut at {words.speed.unit}",
        f"moisture, {words.moisture.unit}",
    ]
    return {"head": head, "rows": rows, "notes": notes}


def _loss(row: dict[Any, Any], source: str) -> Estimate:
    return Estimate(*(float(row[f"{source}_{end}kg_ha"]) for end in ("", "low_", "high_")))


def _note(row: dict[Any, Any]) -> str:
    """What was noted at a stop; "" for a gap."""
    return "" if row["note"] != row["note"] or row["note"] is None else str(row["note"])


def _in_short(row: dict[Any, Any], position: str, words: Words) -> str:
    """Seeds at one position, and ears with the area they were looked for on: "3; 2 ears on 436"."""
    seeds = _whole(row[f"seeds_{position}"]) if position in _counted_positions(row) else ""
    ears = [f"{number} on {words.frame.number(area)}" for number, area in _ears(row, position)]
    return "; ".join(part for part in (seeds, *ears) if part)


def _ears(row: dict[Any, Any], position: str) -> list[tuple[str, float]]:
    """Ears at one position, in words, and the area looked at [m2]; nothing where nobody looked for them."""
    ears, area = float(row.get(f"ears_{position}", np.nan)), float(row.get(f"ear_m2_{position}", np.nan))
    return [(f"{_whole(ears)} {'ear' if ears == 1 else 'ears'}", area)] if np.isfinite(ears) and area > 0 else []


def _counted_positions(row: dict[Any, Any]) -> list[str]:
    """Where seeds were counted: a gap is no count, a nought is one."""
    return [position for position in POSITION_WORDS if row[f"seeds_{position}"] == row[f"seeds_{position}"]]


def _counted(row: dict[Any, Any], words: Words) -> str:
    """The seeds of a stop and the area they were counted on, and the ears."""
    seeds = {position: f"{_whole(row[f'seeds_{position}'])} {POSITION_WORDS[position]}" for position in _counted_positions(row)}
    areas = {position: words.frame.text(float(row[f"frame_m2_{position}"])) for position in seeds}
    if len(set(areas.values())) == 1:
        told = f"{', '.join(seeds.values())}{', each' if len(seeds) > 1 else ''} on {next(iter(areas.values()))}"
    else:
        told = ", ".join(f"{seeds[position]} on {areas[position]}" for position in seeds)
    ears = [
        f"{number} {said} on {words.frame.text(m2)}" for position, said in POSITION_WORDS.items() for number, m2 in _ears(row, position)
    ]
    return "; ".join(part for part in (told, *ears) if part) or NOT_KNOWN


def _whole(seeds: float) -> str:
    """Seeds as counted; those weighed instead may be a fraction."""
    return plain(seeds, 0 if float(seeds).is_integer() else 1)
