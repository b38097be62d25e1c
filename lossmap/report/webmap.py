"""map.html: one self-contained file that opens without a network, on a phone in the field.

Every word of the page that comes from a file is a value of an autoescaped template or
stands in one JSON block, from which the page's script takes it as text. The page's
security policy forbids any request, and any script but the four whose hashes it names.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from typing import Any

import geopandas as gpd
import markupsafe
import numpy as np
import shapely

from lossmap.base import reference
from lossmap.base.estimates import Estimate
from lossmap.base.field import FieldMap
from lossmap.base.tables import FLAGS, SOURCES
from lossmap.report import leaflet
from lossmap.report.classes import Classes, classes
from lossmap.report.foliummap import folium_script, zone_code
from lossmap.report.layers import UNKNOWN_BEYOND_M, UNKNOWN_RATIO, Sheet, sheet, unknown_part
from lossmap.report.numbers import doubt_line, flat_line, headline, loss_rows, money_line, seeds_line, subtitle, words_of
from lossmap.report.picture import packed, steps
from lossmap.report.projection import WebPlace, web_place
from lossmap.report.run_file import version
from lossmap.report.sentences import driver, zone
from lossmap.report.still import still
from lossmap.report.templates import asset, filled, json_block
from lossmap.report.words import NOT_KNOWN, ODDS, Scale, Words

__all__ = ["stop_rows", "webmap", "zone_rows"]

# Points on the page; of a longer log every second, third ... is drawn, and the page says so.
MOST_POINTS = 400_000


def webmap(field_map: FieldMap) -> str:
    """The content of map.html: same field, same bytes.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    words = words_of(field_map)
    place = web_place(field_map.outline, field_map.crs)
    drawn, unknown = sheet(field_map, place, words), unknown_part(field_map)
    points = _points(field_map, drawn, words)
    scripts = {
        "first": 'document.documentElement.className = "live";',
        "leaflet": leaflet.script(),
        "folium": folium_script(field_map, place, drawn, unknown),
        "own": asset("map.js"),
    }
    return filled(
        "map.html.j2",
        policy=_policy(scripts.values()),
        scripts={name: markupsafe.Markup(text) for name, text in scripts.items()},
        styles=markupsafe.Markup(leaflet.style() + asset("page.css") + asset("map.css")),
        licence=leaflet.licence(),
        for_script=json_block(_for_script(field_map, place, drawn, points, words)),
        layers=drawn.layers if drawn else (),
        points=points,
        coarse=_coarse_line(drawn, points, words),
        unknown=_unknown_line(field_map, unknown, words),
        still=still(field_map, unknown, place, words),
        **_texts(field_map, words),
    )


def _policy(scripts: Iterable[str]) -> str:
    """Nothing may be asked of any host; only these scripts run, whatever text a file held."""
    hashes = " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in scripts)
    return f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src {hashes}; base-uri 'none'; form-action 'none'"


def _texts(field_map: FieldMap, words: Words) -> dict[str, Any]:
    """What the page says beside its map."""
    return {
        "title": field_map.field.facts.name,
        "subtitle": subtitle(field_map, words),
        "headline": headline(field_map, words),
        "doubt": doubt_line(),
        "flat": flat_line(field_map),
        "money": money_line(field_map, words),
        "seeds": seeds_line(field_map, words),
        "rows": loss_rows(field_map, words),
        "harvest": words.harvest.text(field_map.yield_kg_ha),
        "drivers": [driver(found, words) for found in field_map.drivers.values()],
        "zones": zone_rows(field_map, words),
        "stops": stop_rows(field_map, words),
        "notes": (*field_map.notes, *field_map.cleaning.notes),
        "cautions": (*reference.cautions("count"), *reference.cautions("fire")),
        "version": version(),
    }


def zone_rows(field_map: FieldMap, words: Words) -> list[dict[str, str]]:
    """Each zone: its letter, its code, a head and a plain sentence."""
    rows = []
    for number, row in enumerate(field_map.zones.drop(columns="geometry").to_dict("records")):
        reason = zone_code(row["reason"])
        surface = field_map.surfaces.get("speed_m_s" if reason == "speed" else "moisture_pct")
        cut_at = float("nan")
        if surface is not None:
            inside = surface.mean[surface.grid.inside(field_map.zones.geometry.iloc[number])]
            cut_at = float(np.nanmean(inside)) if np.isfinite(inside).any() else cut_at
        head = f"{row['zone_id']}: {'faster' if reason == 'speed' else 'drier'}, {words.area.text(row['area_ha'])}"
        rows.append({"letter": str(row["zone_id"]), "why": reason, "head": head, "text": zone(reason, row, cut_at, words)})
    return rows


def stop_rows(field_map: FieldMap, words: Words) -> list[dict[str, str]]:
    """Each stop in words, for its table row and its popup."""
    return [_stop(row, words) for row in field_map.losses.drop(columns="geometry").to_dict("records")]


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


_PLACES = (("before_header", "before the header"), ("behind_header", "behind it"), ("behind_combine", "behind the combine"))


def _counted(row: dict[Any, Any], words: Words) -> str:
    """The seeds of a stop and the area they were counted on."""
    known = [(said, row[f"seeds_{place}"], row[f"frame_m2_{place}"]) for place, said in _PLACES if row[f"seeds_{place}"] == row[f"seeds_{place}"]]
    areas = {round(float(area), 4) for _, _, area in known}
    if len(areas) == 1:
        seeds = ", ".join(f"{seeds:,.4g} {said}" for said, seeds, _ in known)
        return f"{seeds}{', each' if len(known) > 1 else ''} on {words.frame.text(areas.pop())}"
    return ", ".join(f"{seeds:,.4g} {said} on {words.frame.text(area)}" for said, seeds, area in known) or NOT_KNOWN


def _unknown_line(field_map: FieldMap, unknown: shapely.Geometry | None, words: Words) -> str:
    """The rule of the hatch, in words; "" where nothing is hatched."""
    if unknown is None:
        return ""
    return (
        f"{words.area.text(unknown.area / 10_000)} of {words.area.text(field_map.area_ha)}: "
        f"no stop within {words.length.text(UNKNOWN_BEYOND_M)}, and the 90 % interval spans more than {UNKNOWN_RATIO:g}-fold."
    )


def _coarse_line(drawn: Sheet | None, points: dict[str, Any] | None, words: Words) -> str:
    """Says what a big field's page leaves out."""
    parts = []
    if drawn is not None and drawn.cell_times > 1:
        parts.append(f"This page shows means over squares of {words.length.text(drawn.grid.cell_m)}; surfaces.tif holds every cell.")
    if points is not None and points["every"] > 1:
        parts.append(f"It draws 1 point in {points['every']}; points.parquet holds every record.")
    return " ".join(parts)


def _points(field_map: FieldMap, drawn: Sheet | None, words: Words) -> dict[str, Any] | None:
    """The log's points as bytes; None where no record has a place or a yield.

    Place in steps of 1/65,535 of the log's box (2 cm over 1.3 km), yield in 254 steps,
    flag as its number in the list of reasons.
    """
    points = field_map.points
    if "yield_kg_ha" not in points.columns or not points["yield_kg_ha"].notna().any():
        return None
    points = points[~points.geometry.is_empty & points.geometry.notna()]
    every = -(-len(points) // MOST_POINTS)
    points = points.iloc[::every]
    easting, northing = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    coded = steps(_believable(points))
    return {
        "n": len(points),
        "every": every,
        "kept": int((points["flag"] == "").sum()),
        "reasons": list(FLAGS),
        **_place_codes(easting, northing),
        "start": coded.start,
        "step": coded.step,
        **_point_classes(drawn, coded.values(), words),
        "packed": packed(_whole(easting), _whole(northing), coded.codes, _flag_codes(points["flag"])),
    }


def _believable(points: gpd.GeoDataFrame) -> np.ndarray[Any, np.dtype[np.floating]]:
    """Yields for colour; flagged records show their flag, and their wild values must not stretch the steps."""
    harvest = points["yield_kg_ha"].to_numpy(float)
    return np.where(points["flag"] == "", harvest, np.nan)


def _place_codes(easting: Any, northing: Any) -> dict[str, Any]:
    return {
        "west": round(float(easting.min()), 3),
        "south": round(float(northing.min()), 3),
        "width": round(float(np.ptp(easting)), 3),
        "height": round(float(np.ptp(northing)), 3),
    }


def _whole(metres: Any) -> np.ndarray[Any, np.dtype[np.uint16]]:
    return np.round((metres - metres.min()) / max(float(np.ptp(metres)), 1e-9) * 65_535).astype(np.uint16)


def _flag_codes(flags: Any) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """0 where believed, else the reason's place in `FLAGS` from 1."""
    codes = {reason: number for number, reason in enumerate(FLAGS, start=1)}
    return flags.map(lambda flag: codes.get(flag, 0) if flag else 0).to_numpy(np.uint8)


def _point_classes(drawn: Sheet | None, values: Any, words: Words) -> dict[str, Any]:
    """The yield layer's classes, so that points and surface are read by one key; else the points' own."""
    layer = next((layer for layer in drawn.layers if layer.key == "yield"), None) if drawn is not None else None
    found: Classes = layer.classes if layer is not None and layer.classes.edges else classes(values, words.harvest, "yield")
    return {
        "edges": list(found.edges),
        "edge_texts": list(found.edge_texts()),
        "colours": list(found.colours),
        "unit": words.harvest.unit,
        "factor": words.harvest.factor,
        "places": words.harvest.places(float(np.nanmedian(values))) if np.isfinite(values).any() else 0,
    }


def _for_script(
    field_map: FieldMap, place: WebPlace, drawn: Sheet | None, points: dict[str, Any] | None, words: Words
) -> dict[str, Any]:
    """Every number and word that the page's own script needs."""
    return {
        "toField": place.to_field.for_script(),
        "toWeb": place.to_web.for_script(),
        "box": [round(value, 3) for value in (place.west, place.south, place.east, place.north)],
        "bounds": [list(corner) for corner in place.bounds],
        "sheet": _sheet(drawn) if drawn is not None else None,
        "points": points,
        "zones": [{"head": row["head"], "text": row["text"], "why": row["why"], "letter": row["letter"]} for row in zone_rows(field_map, words)],
        "stops": [
            {**row, "at": [round(point.x, 2), round(point.y, 2)]}
            for row, point in zip(stop_rows(field_map, words), field_map.losses.geometry, strict=True)
        ],
        "length": _scale(words.length),
        "area": _scale(words.area),
        "odds": ODDS,
    }


def _scale(scale: Scale) -> dict[str, Any]:
    return {"factor": scale.factor, "unit": scale.unit}


def _sheet(drawn: Sheet) -> dict[str, Any]:
    """The surfaces' bytes and how to read them."""
    grid = drawn.grid
    bounds = [part for part in (drawn.low, drawn.high) if part is not None]
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
                "factor": layer.scale.factor,
                "places": layer.scale.places(float(np.nanmedian(layer.steps.values()))) if (layer.steps.codes != 255).any() else 0,
                "start": layer.steps.start,
                "step": layer.steps.step,
                "edges": list(layer.classes.edges),
            }
            for layer in drawn.layers
        ],
        "bounds": [{"start": part.start, "step": part.step} for part in bounds],
        "packed": packed(*(layer.steps.codes for layer in drawn.layers), *(part.codes for part in bounds)),
    }
