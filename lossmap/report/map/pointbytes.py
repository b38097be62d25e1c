"""The log's points as bytes: 80,000 of them in 150 kB, where a marker each would never open."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.field import FieldMap
from lossmap.base.tables import FLAGS
from lossmap.report.classes import Classes, classes
from lossmap.report.map.layers import Layers, span
from lossmap.report.map.packing import GAP, Codes, along, deflated, one_by_one
from lossmap.report.map.picture import Steps, steps
from lossmap.report.words import Scale, Words

__all__ = ["point_bytes", "shown_levels"]

# Points on the page; of a longer log every second, third ... is drawn, and the page says so.
MOST_POINTS = 400_000

# A point is drawn 3.5 m wide; a receiver is seldom surer than this.
STEP_M = 0.1

# Records farther than this outside the field's box are no part of its map.
AWAY_M = 1_000.0

# Why a point is not believed; whatever else stands in a table's column is the last.
REASONS = (*FLAGS, "another reason")


def point_bytes(field_map: FieldMap, drawn: Layers | None, words: Words) -> dict[str, Any] | None:
    """The log's points as bytes; None where no record has a yield and a place near the field.

    Place in steps of 10 cm (nearer than a point can be drawn), yield as coarse as it is
    printed and classed, flag as its number in the list of reasons.
    """
    points, away = _drawable(field_map)
    if points.empty:
        return None
    every = -(-len(points) // MOST_POINTS)
    points = points.iloc[::every]
    easting, northing = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    step_m = max(STEP_M, float(max(np.ptp(easting), np.ptp(northing))) / 65_535)
    harvest = _believable(points)
    classed = _point_classes(drawn, harvest, words)
    coded = steps(harvest, words.harvest.factor, classed["places"], classed["edges"])
    return {
        "n": len(points),
        "every": every,
        "away": away,
        "kept": int((points["flag"] == "").sum()),
        "reasons": list(REASONS),
        "west": round(float(easting.min()), 3),
        "south": round(float(northing.min()), 3),
        "step": step_m,
        "levels": shown_levels(coded, words.harvest),
        **classed,
        "packed": deflated(
            _states(points["flag"], coded.codes).tobytes(),
            along(_whole(easting, step_m)),
            along(_whole(northing, step_m)),
            one_by_one(coded.codes[coded.codes != GAP]),
        ),
    }


def _drawable(field_map: FieldMap) -> tuple[gpd.GeoDataFrame, int]:
    """Records with a place near the field, and how many lie elsewhere; none of a log without yields."""
    points = field_map.points
    if "yield_kg_ha" not in points.columns or not points["yield_kg_ha"].notna().any():
        return points.iloc[:0], 0
    points = points[~points.geometry.is_empty & points.geometry.notna()]
    near = _near(points, field_map.outline)
    return points[near], int((~near).sum())


def _near(points: gpd.GeoDataFrame, outline: shapely.Geometry) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Records that a map of the field can show; one fix at 0, 0 would leave the others steps of 100 m."""
    west, south, east, north = (float(side) for side in shapely.bounds(outline))
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    return np.asarray((x > west - AWAY_M) & (x < east + AWAY_M) & (y > south - AWAY_M) & (y < north + AWAY_M))


def shown_levels(coded: Steps, scale: Scale) -> list[float]:
    """What each code stands for, in the unit people read."""
    return [round(level, 6) for level in (coded.levels * scale.factor).tolist()]


def _believable(points: gpd.GeoDataFrame) -> np.ndarray[Any, np.dtype[np.floating]]:
    """Yields for colour; flagged records show their flag, and their wild values must not stretch the scale."""
    harvest = points["yield_kg_ha"].to_numpy(float)
    return np.where(points["flag"] == "", harvest, np.nan)


def _whole(metres: Any, step_m: float) -> Codes:
    return np.asarray(np.round((metres - round(float(metres.min()), 3)) / step_m), dtype=np.uint16)


def _states(flags: Any, codes: Codes) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """0 where a yield is believed, else the flag's place in `REASONS` from 1; one after the last where there is just no yield."""
    numbers = {reason: number for number, reason in enumerate(FLAGS, start=1)}
    states = flags.map({"": 0, **numbers}).fillna(len(REASONS)).to_numpy()
    return np.where((states == 0) & (codes == GAP), len(REASONS) + 1, states).astype(np.uint8)


def _point_classes(drawn: Layers | None, values: Any, words: Words) -> dict[str, Any]:
    """The yield layer's classes, so that points and surface are read by one key; else the points' own."""
    layer = next((layer for layer in drawn.layers if layer.key == "yield"), None) if drawn is not None else None
    found: Classes = layer.classes if layer is not None and layer.classes.edges else classes(values, words.harvest, "yield")
    return {
        "edges": list(found.edges),
        "edge_texts": list(found.edge_texts()),
        "colours": list(found.colours),
        "span": span(values, words.harvest) if found.edges else "",
        "unit": words.harvest.unit,
        "places": words.harvest.places(float(np.nanmedian(values))) if np.isfinite(values).any() else 0,
    }
