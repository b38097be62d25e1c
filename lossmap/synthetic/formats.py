"""One table to one file of any format, without a trace of when it was written."""

from __future__ import annotations

import datetime
import io
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Literal

import geopandas as gpd
import pyogrio

__all__ = ["Format", "save"]

Format = Literal["csv", "geojson", "gpkg", "shp.zip", "parquet", "fgb"]

#: Stands in every file that must carry a date of writing.
DATE = datetime.datetime(2025, 12, 1, tzinfo=datetime.UTC)


def save(table: gpd.GeoDataFrame, path: Path) -> None:
    """Write one table in the format its name ends in, without any trace of now."""
    kind = path.name.split(".", 1)[1]
    path.unlink(missing_ok=True)
    if kind == "csv":
        table.drop(columns="geometry").to_csv(path, index=False, lineterminator="\n")
    elif kind == "parquet":
        table.to_parquet(path, index=False, compression="zstd")
    elif kind == "geojson":
        pyogrio.write_dataframe(table, path, driver="GeoJSON", RFC7946="YES", COORDINATE_PRECISION=7)
    elif kind == "fgb":  # its index would put the records in another order than that of time
        pyogrio.write_dataframe(table, path, driver="FlatGeobuf", SPATIAL_INDEX="NO")
    elif kind == "gpkg":
        pyogrio.write_dataframe(table, path, driver="GPKG", layer="log", VERSION="1.3", SPATIAL_INDEX="NO")
        _dated(path)
    else:
        path.write_bytes(_zipped_shapefile(table))


def _dated(path: Path) -> None:
    """Put `DATE` where a GeoPackage says when it was changed."""
    with closing(sqlite3.connect(path)) as store, store:
        store.execute("UPDATE gpkg_contents SET last_change = ?", (DATE.strftime("%Y-%m-%dT%H:%M:%S.000Z"),))


def _zipped_shapefile(table: gpd.GeoDataFrame) -> bytes:
    """A Shapefile's files in one zip, all of `DATE`."""
    packed = io.BytesIO()
    with tempfile.TemporaryDirectory() as aside, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        pyogrio.write_dataframe(
            table, Path(aside) / "points.shp", driver="ESRI Shapefile", DBF_DATE_LAST_UPDATE=DATE.date().isoformat(), ENCODING="UTF-8"
        )
        for part in sorted(Path(aside).iterdir()):
            entry = zipfile.ZipInfo(part.name, date_time=DATE.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, part.read_bytes())
    return packed.getvalue()
