"""The log's points as bytes: 80,000 of them in a third of a megabyte, where a marker each would never open."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np

from lossmap.base.field import FieldMap
from lossmap.base.tables import FLAGS
from lossmap.report.classes import Classes, classes
from lossmap.report.layers import Sheet, span
from lossmap.report.picture import packed, steps
from lossmap.report.words import Words

__all__ = ["point_bytes"]

# Points on the page; of a longer log every second, third ... is drawn, and the page says so.
MOST_POINTS = 400_000


def point_bytes(field_map: FieldMap, drawn: Sheet | None, words: Words) -> dict[str, Any] | None:
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
        "reasons": [*FLAGS, "another reason"],
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
    share = (metres - metres.min()) / max(float(np.ptp(metres)), 1e-9)
    return np.asarray(np.round(share * 65_535), dtype=np.uint16)


def _flag_codes(flags: Any) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """0 where believed, else the reason's place in `FLAGS` from 1; one after the last for any other."""
    codes = {reason: number for number, reason in enumerate(FLAGS, start=1)}
    return np.asarray(flags.map({"": 0, **codes}).fillna(len(FLAGS) + 1), dtype=np.uint8)


def _point_classes(drawn: Sheet | None, values: Any, words: Words) -> dict[str, Any]:
    """The yield layer's classes, so that points and surface are read by one key; else the points' own."""
    layer = next((layer for layer in drawn.layers if layer.key == "yield"), None) if drawn is not None else None
    found: Classes = layer.classes if layer is not None and layer.classes.edges else classes(values, words.harvest, "yield")
    return {
        "edges": list(found.edges),
        "edge_texts": list(found.edge_texts()),
        "colours": list(found.colours),
        "span": span(values, words.harvest) if found.edges else "",
        "unit": words.harvest.unit,
        "factor": words.harvest.factor,
        "places": words.harvest.places(float(np.nanmedian(values))) if np.isfinite(values).any() else 0,
    }
