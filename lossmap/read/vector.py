"""GeoJSON, GeoPackage, Shapefile (also zipped), FlatGeobuf and GeoParquet."""

from __future__ import annotations

import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio
import shapely

from lossmap.base.errors import ReadError, near, shown
from lossmap.read.raw import Raw, is_file_of

__all__ = ["FORMATS", "PARQUET", "read_frame", "read_places"]

PARQUET = (".parquet", ".geoparquet")
FORMATS = (".geojson", ".json", ".gpkg", ".shp", ".shp.zip", ".zip", ".fgb", *PARQUET)


def read_places(path: Path, where: str, layer: str | None = None) -> Raw:
    """The points of a file, its attributes under their own names.

    Raises
    ------
    ReadError
        The file is damaged, has several layers and none was named, or holds no points.
    """
    frame = read_frame(path, where, layer)
    columns = pd.DataFrame(frame.drop(columns=_geometry_name(frame)))
    if frame.empty:
        raise ReadError(f"{where}: holds no record; check the export")
    if _geometry_name(frame) == []:
        return Raw(where, columns, first_row=1)
    places = frame.geometry.to_numpy()
    kinds = shapely.get_type_id(places)
    wrong = ~np.isin(kinds, (0, 4, -1))
    if wrong.any():
        kind = shapely.get_type_id(places[wrong][0])
        raise ReadError(
            f"{where}, record {int(np.flatnonzero(wrong)[0]) + 1}: is a {_KINDS[kind]}, not a point; "
            "give the layer with points (layer = ... beside path)"
        )
    x, y = shapely.get_x(_single(places)), shapely.get_y(_single(places))
    return Raw(where, columns, 1, x, y, frame.crs)


_KINDS = ("point", "line", "ring", "polygon", "multipoint", "multiline", "multipolygon", "collection")


def read_frame(path: Path, where: str, layer: str | None = None) -> gpd.GeoDataFrame:
    """Any vector file as it stands.

    Raises
    ------
    ReadError
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _parquet(path) if is_file_of(path, *PARQUET) else _ogr(path, where, layer)
    except ReadError:
        raise
    except Exception as fault:  # GDAL, Arrow and zip each raise their own kinds
        raise ReadError(f"{where}: cannot be read as {path.suffix or 'a file'} ({_first_line(fault)}); export it again") from fault


def _parquet(path: Path) -> gpd.GeoDataFrame:
    try:
        return _sound(gpd.read_parquet(path))
    except ValueError as fault:
        if "geo metadata" not in str(fault).lower() and "geometry" not in str(fault).lower():
            raise
        return _sound(gpd.GeoDataFrame(pd.read_parquet(path)))


def _ogr(path: Path, where: str, layer: str | None) -> gpd.GeoDataFrame:
    layers = [str(name) for name, _ in pyogrio.list_layers(path)]
    if layer is not None and layer not in layers:
        raise ReadError(f"{where}: has no layer {shown(layer)}; {near(layer, layers)}")
    if layer is None and len(layers) > 1:
        raise ReadError(f"{where}: has {len(layers)} layers ({shown(', '.join(layers))}); name one with layer = ... beside path")
    return _sound(gpd.GeoDataFrame(pyogrio.read_dataframe(path, layer=layer or layers[0], use_arrow=True)))


def _sound(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """`frame`, whose text is text: Arrow hands on damaged bytes, and stumbles over them much later."""
    for name in frame.columns:
        if pd.api.types.is_string_dtype(frame[name].dtype):
            pa.Array.from_pandas(frame[name]).validate(full=True)
    return frame


def _geometry_name(frame: gpd.GeoDataFrame) -> list[str]:
    return [frame.active_geometry_name] if frame.active_geometry_name is not None else []


def _single(places: np.ndarray) -> np.ndarray:
    """Multipoints as their first point: some exporters wrap every point."""
    multi = shapely.get_type_id(places) == 4
    if not multi.any():
        return places
    places = places.copy()
    places[multi] = shapely.get_geometry(places[multi], 0)
    return places


def _first_line(fault: Exception) -> str:
    return shown(str(fault).strip().splitlines()[0] if str(fault).strip() else type(fault).__name__, 160)
