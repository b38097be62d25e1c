"""stops.geojson and zones.geojson: RFC 7946, for any map program and any script.

Longitude and latitude on WGS84, rings by the right-hand rule, no ``crs`` member, gaps as
null. Beside each ``_kg_ha`` of a crop sold by the bushel stands the same in ``_bu_ac``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from lossmap.base.field import FieldMap
from lossmap.base.reference import Crop
from lossmap.base.tables import LOSSES, ZONES
from lossmap.report.words import bushels_ac

__all__ = ["as_text", "collection", "geojson_of_stops", "geojson_of_zones", "lonlat", "placed", "with_bushels"]

# Seven decimals of a degree are about a centimetre; more is noise and bytes.
DECIMALS = 7


def geojson_of_stops(field_map: FieldMap) -> dict[str, Any]:
    """Each stop's loss by source, its counts, and how it was cut (table LOSSES)."""
    return collection(field_map.losses, [column.name for column in LOSSES.columns], field_map.field.crop)


def geojson_of_zones(field_map: FieldMap) -> dict[str, Any]:
    """Each flagged zone (table ZONES); an empty collection where nothing can be shown."""
    return collection(field_map.zones, [column.name for column in ZONES.columns], field_map.field.crop)


def as_text(features: Mapping[str, Any]) -> str:
    """The collection as a file's content; a NaN that slipped through is a bug and raises."""
    return json.dumps(features, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def collection(table: gpd.GeoDataFrame, first: Iterable[str], crop: Crop) -> dict[str, Any]:
    """A FeatureCollection of `table`, the columns named in `first` before any others."""
    names = [name for name in first if name in table.columns]
    names += [name for name in table.columns if name not in names and name != table.active_geometry_name]
    return placed([with_bushels(row, crop) for row in table[names].to_dict("records")], table.geometry)


def placed(rows: Iterable[Mapping[str, Any]], shapes: gpd.GeoSeries) -> dict[str, Any]:
    """A FeatureCollection of rows and their places; one without a place has null for it (RFC 7946, 3.2)."""
    return {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "properties": row, "geometry": None if shape.is_empty else shapely.geometry.mapping(shape)}
            for row, shape in zip(rows, lonlat(shapes), strict=True)
        ],
    }


def lonlat(shapes: gpd.GeoSeries) -> np.ndarray[Any, np.dtype[np.object_]]:
    """Geometries in WGS84, rounded, outer rings counter-clockwise."""
    if shapes.empty:
        return np.array([], dtype=object)
    turned = shapely.transform(shapes.to_crs("EPSG:4326").to_numpy(), lambda xy: np.round(xy, DECIMALS))
    return np.array([_right_handed(shape) for shape in turned], dtype=object)


def _right_handed(shape: shapely.Geometry) -> shapely.Geometry:
    if isinstance(shape, shapely.MultiPolygon):
        return shapely.MultiPolygon([shapely.geometry.polygon.orient(part) for part in shape.geoms])
    return shapely.geometry.polygon.orient(shape) if isinstance(shape, shapely.Polygon) else shape


def with_bushels(row: Mapping[Any, Any], crop: Crop) -> dict[str, Any]:
    """JSON values of `row`, with the bushel twin after each ``_kg_ha``."""
    out: dict[str, Any] = {}
    for name, value in row.items():
        value = _json_value(value)
        out[str(name)] = value
        if str(name).endswith("_kg_ha") and crop.bushel_lb is not None:
            out[f"{str(name).removesuffix('_kg_ha')}_bu_ac"] = None if value is None else round(value * bushels_ac(crop), 6)
    return out


def _json_value(value: Any) -> Any:
    """A cell of a table as JSON knows it: null for a gap, ISO 8601 for a time."""
    if isinstance(value, (np.generic,)):
        value = value.item()
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, pd.Timestamp):
        return value.isoformat()
    return value if isinstance(value, (str, int, bool)) else str(value)
