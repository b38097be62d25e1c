"""GeoJSON, GeoPackage, Shapefile (also zipped), FlatGeobuf and GeoParquet."""

from __future__ import annotations

import re
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import shapely

from lossmap.base.errors import ReadError, near, shown
from lossmap.read.raw import MOST_BYTES, Raw, is_file_of, plain_file, refuse_records
from lossmap.read.shapefile import SHP, refuse_parts, zipped_shapefile

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
    single = _single(places)
    x, y = shapely.get_x(single), shapely.get_y(single)
    return Raw(where, columns, 1, x, y, frame.crs)


_KINDS = ("point", "line", "ring", "polygon", "multipoint", "multiline", "multipolygon", "collection")


def read_frame(path: Path, where: str, layer: str | None = None) -> gpd.GeoDataFrame:
    """Any vector file as it stands.

    Raises
    ------
    ReadError
    """
    plain_file(path, where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _parquet(path, where) if is_file_of(path, *PARQUET) else _ogr(path, where, layer)
    except ReadError:
        raise
    except Exception as fault:  # GDAL, Arrow and zip each raise their own kinds
        found = _first_line(fault).replace(f"/vsizip/{{{path}}}/", "").replace(f"{path.parent}/", "")
        raise ReadError(f"{where}: cannot be read as {path.suffix or 'a file'} ({found}); export it again") from fault


def _parquet(path: Path, where: str) -> gpd.GeoDataFrame:
    with pq.ParquetFile(path) as file:
        refuse_records(file.metadata.num_rows, where)
        _refuse_text(file, where)
    try:
        return _sound(gpd.read_parquet(path))
    except ValueError as fault:
        if "geo metadata" not in str(fault).lower() and "geometry" not in str(fault).lower():
            raise
        return _sound(gpd.GeoDataFrame(pd.read_parquet(path)))


def _refuse_text(file: pq.ParquetFile, where: str) -> None:
    """Refuse texts that are written once and unpacked a million times: read piece by piece, before they are read together."""
    texts = [field.name for field in file.schema_arrow if not pa.types.is_primitive(field.type)]
    size = 0
    for batch in file.iter_batches(1024, columns=texts) if texts else ():
        size += batch.nbytes
        if size > MOST_BYTES:
            raise ReadError(f"{where}: would unpack to more than {MOST_BYTES / 1e9:g} GB, which no log does; export it again")


def _ogr(path: Path, where: str, layer: str | None) -> gpd.GeoDataFrame:
    source = _source(path, where)
    layers = [str(name) for name, _ in pyogrio.list_layers(source)]
    if layer is not None and layer not in layers:
        raise ReadError(f"{where}: has no layer {shown(layer)}; {near(layer, layers)}")
    if layer is None and len(layers) > 1:
        raise ReadError(f"{where}: has {len(layers)} layers ({shown(', '.join(layers))}); name one with layer = ... beside path")
    layer = layer or layers[0]
    refuse_records(pyogrio.read_info(source, layer=layer)["features"], where)
    # GDAL (3.12) hands a FlatGeobuf's missing places on as Arrow offsets that lead out of the memory
    by_columns = not is_file_of(path, ".fgb")
    return _sound(gpd.GeoDataFrame(pyogrio.read_dataframe(source, layer=layer, use_arrow=by_columns)))


#: How a file of each format begins. GDAL goes by what it finds in a file and not by its ending, and among all that it knows are
#: files which name others to open, anywhere, or commands to run: what does not begin as its ending says is not shown to it.
_BEGINNINGS = {
    ".geojson": re.compile(rb"(\xef\xbb\xbf)?\s*[{\[]"),
    ".json": re.compile(rb"(\xef\xbb\xbf)?\s*[{\[]"),
    ".gpkg": re.compile(rb"SQLite format 3\0"),
    ".fgb": re.compile(rb"fgb[\0-\x7f]fgb"),
    ".shp": re.compile(SHP),
    ".zip": re.compile(rb"PK"),
    # outlines drawn on a globe; <OGR... begins what names other files
    ".kml": re.compile(rb"(?s)(?!.*<OGR).*<kml"),
}


def _source(path: Path, where: str) -> str:
    """What GDAL is to open, once the file is seen to be what its ending says."""
    ending = next((one for one in _BEGINNINGS if is_file_of(path, one)), None)
    if ending is None:
        raise ReadError(f"{where}: is no file lossmap reads (found {path.suffix or 'no ending'}); export GeoJSON, GeoPackage or Shapefile")
    with path.open("rb") as opened:
        if not _BEGINNINGS[ending].match(opened.read(4096)):
            raise ReadError(f"{where}: cannot be read as {ending} (it does not begin as such a file does); export it again")
    if ending == ".zip":
        return zipped_shapefile(path, where)
    if ending == ".shp":
        refuse_parts(path, where)
    # named with its driver where another one reads commands out of a file that begins alike
    return f"GeoJSON:{path}" if ending in (".geojson", ".json") and pyogrio.__gdal_version__ >= (3, 11) else str(path)


def _sound(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """`frame`, whose text is text: Arrow hands on damaged bytes, and lists and tables in a cell, and others stumble over them later."""
    for name in frame.columns.difference(_geometry_name(frame)):
        column = frame[name]
        if column.dtype == object and column.map(lambda value: isinstance(value, (list, dict, np.ndarray))).any():
            frame[name] = column.map(str, na_action="ignore").astype("str")
        elif pd.api.types.is_string_dtype(column.dtype):
            pa.Array.from_pandas(column).validate(full=True)
    return frame


def _geometry_name(frame: gpd.GeoDataFrame) -> list[str]:
    return [frame.active_geometry_name] if frame.active_geometry_name is not None else []


def _single(places: np.ndarray) -> np.ndarray:
    """Multipoints as their first point, for some exporters wrap every point; points without coordinates as none."""
    multi = shapely.get_type_id(places) == 4
    if not multi.any() and not shapely.is_empty(places).any():
        return places
    places = places.copy()
    places[multi] = shapely.get_geometry(places[multi], 0)
    places[shapely.is_empty(places)] = None
    return places


def _first_line(fault: Exception) -> str:
    return shown(str(fault).strip().splitlines()[0] if str(fault).strip() else type(fault).__name__, 160)
