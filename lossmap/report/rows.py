"""Stops and zones in words: the rows of both pages' lists and tables."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.estimates import Estimate
from lossmap.base.field import FieldMap
from lossmap.base.tables import SOURCES
from lossmap.report.sentences import zone
from lossmap.report.words import NOT_KNOWN, Words, plain

__all__ = ["letter_at", "stop_rows", "zone_code", "zone_rows"]


def zone_rows(field_map: FieldMap, words: Words) -> list[dict[str, str]]:
    """Each zone: its letter, its code, a head and a plain sentence."""
    rows = []
    for number, row in enumerate(_rows(field_map.zones)):
        reason = zone_code(row["reason"])
        surface = field_map.surfaces.get("speed_m_s" if reason == "speed" else "moisture_pct")
        cut_at = float("nan")
        if surface is not None:
            inside = surface.mean[surface.grid.inside(field_map.zones.geometry.iloc[number])]
            cut_at = float(np.nanmean(inside)) if np.isfinite(inside).any() else cut_at
        head = f"{row['zone_id']}: {'faster' if reason == 'speed' else 'drier'}, {words.area.text(row['area_ha'])}"
        rows.append({"letter": str(row["zone_id"]), "why": reason, "head": head, "text": zone(reason, row, cut_at, words)})
    return rows


def zone_code(reason: object) -> str:
    """A zone's reason as a code of our own, whatever text the table holds."""
    return str(reason) if reason in ("speed", "dryness") else "other"


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
    """Each stop in words, for its table row and its popup."""
    return [_stop(row, words) for row in _rows(field_map.losses)]


def _stop(row: dict[Any, Any], words: Words) -> dict[str, str]:
    loss = {
        source: words.loss.interval(Estimate(*(float(row[f"{source}_{end}kg_ha"]) for end in ("", "low_", "high_"))))
        for source in ("total", *SOURCES)
    }
    return {
        "name": str(row["stop_id"]),
        "short": words.loss.number(float(row["total_kg_ha"])),
        **loss,
        "counted": _counted(row, words),
        "speed": words.speed.text(float(row.get("speed_m_s", np.nan))),
        "moisture": words.moisture.text(float(row.get("moisture_pct", np.nan))),
        "note": "" if row["note"] != row["note"] or row["note"] is None else str(row["note"]),
    }


_PLACES = (("before_header", "before the header"), ("behind_header", "behind the header"), ("behind_combine", "behind the combine"))


def _counted(row: dict[Any, Any], words: Words) -> str:
    """The seeds of a stop and the area they were counted on."""
    known = [
        (said, row[f"seeds_{place}"], row[f"frame_m2_{place}"]) for place, said in _PLACES if row[f"seeds_{place}"] == row[f"seeds_{place}"]
    ]
    areas = {round(float(area), 4) for _, _, area in known}
    if len(areas) == 1:
        seeds = ", ".join(f"{_whole(seeds)} {said}" for said, seeds, _ in known)
        return f"{seeds}{', each' if len(known) > 1 else ''} on {words.frame.text(areas.pop())}"
    return ", ".join(f"{_whole(seeds)} {said} on {words.frame.text(area)}" for said, seeds, area in known) or NOT_KNOWN


def _whole(seeds: float) -> str:
    """Seeds as counted; those weighed instead may be a fraction."""
    return plain(seeds, 0 if float(seeds).is_integer() else 1)
