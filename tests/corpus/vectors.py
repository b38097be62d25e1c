"""Points in every vector format: cut off, empty, of another kind, without places."""

from __future__ import annotations

import functools
import tempfile
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from .cases import DONE, LOG, WRONG_DATA, Case, field, truncated

__all__ = ["COUNT", "Make", "cases", "frame", "maker", "sound"]

COUNT = 60
NAMES = {".geojson": "GeoJSON", ".gpkg": "GeoPackage", ".shp.zip": "Shapefile, zipped", ".fgb": "FlatGeobuf", ".parquet": "GeoParquet"}
#: GDAL reads a cut-off FlatGeobuf or GeoJSON to its end or not at all; every other format keeps what it needs to be read at its end.
SHARES = (0.0, 0.002, 0.1, 0.3, 0.5, 0.7, 0.9, 0.999)


Make = Callable[..., Case]


def frame(**changed: Any) -> gpd.GeoDataFrame:
    """The sound log."""
    columns = {"flw_kgs": 12.0 + np.arange(COUNT) % 5, "mostr": np.full(COUNT, 17.5), "spd_ms": np.full(COUNT, 2.0117)}
    places = shapely.points(np.full(COUNT, -93.6), 41.9 + 1.809e-5 * np.arange(COUNT))
    return gpd.GeoDataFrame(
        {**columns, **changed.pop("columns", {})}, geometry=changed.pop("geometry", places), crs=changed.pop("crs", "EPSG:4326")
    )


def written(table: gpd.GeoDataFrame, ending: str, **how: Any) -> bytes:
    """A table in the format of an ending."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a file without a coordinate system: it is meant
        file = Path(folder) / f"points{ending}"
        table.to_parquet(file) if ending == ".parquet" else table.to_file(file, **how)
        return file.read_bytes()


@functools.cache
def sound(ending: str) -> bytes:
    """The sound log in a format."""
    return written(frame(), ending)


def maker(kind: str, path: str) -> Make:
    """What makes a case of a kind out of the content of its file of points."""

    def case(name: str, ends: int, says: str, content: Callable[[], bytes], flow: str = "check", keys: str = "") -> Case:
        return Case(kind, name, lambda folder: field(folder, content(), path=path, keys=keys), ends, says, flow)

    return case


def cases() -> Iterator[Case]:
    """Each format as it is, spoilt as any can be."""
    for ending, kind in NAMES.items():
        case = maker(f"points, {kind}", f"points{ending}")
        yield case("sound", DONE, "60 records", lambda ending=ending: sound(ending))
        yield from _cut_or_strange(case, ending)
        yield from _not_points(case, ending)
        yield from _elsewhere(case, ending)


def _cut_or_strange(case: Make, ending: str) -> Iterator[Case]:
    """The beginning of a file, and what is another kind of file under its name."""
    for share in SHARES:
        says = "is empty (0 bytes)" if share == 0 else "cannot be read as"
        if (ending, share) == (".fgb", 0.3):  # the index is cut, and GDAL finds nothing by it
            says = "holds no record"
        yield case(f"first {share:.1%}", WRONG_DATA, says, lambda share=share: next(iter(truncated(sound(ending), share).values())))
    for name, content in {"text": LOG.encode(), "zeros": bytes(5_000), "a page": b"<html></html>"}.items():
        yield case(f"{name} under its name", WRONG_DATA, "cannot be read as", lambda content=content: content)
    for other in NAMES:
        if other != ending:
            yield case(f"a file of {other} under its name", WRONG_DATA, "cannot be read as", lambda other=other: sound(other))


def _not_points(case: Make, ending: str) -> Iterator[Case]:
    """No record, other geometry, records without a place."""
    kind = {} if ending == ".parquet" else {"geometry_type": "Point"}
    yield case("no record", WRONG_DATA, "holds no record", lambda: written(frame().iloc[:0], ending, **kind))
    outlines = shapely.buffer(frame().geometry.to_numpy(), 1e-5)
    yield case("polygons", WRONG_DATA, "record 1: is a polygon, not a point", lambda: written(frame(geometry=outlines), ending))
    lines = shapely.linestrings([[[-93.6, 41.9], [-93.6, 41.91]]] * COUNT)
    yield case("lines", WRONG_DATA, "record 1: is a line, not a point", lambda: written(frame(geometry=lines), ending))
    some = frame().geometry.to_numpy().copy()
    some[3:6] = None
    unindexed = {"SPATIAL_INDEX": "NO"} if ending == ".fgb" else {}
    yield case("records without a place", DONE, "60 records", lambda: written(frame(geometry=some), ending, **unindexed))


def _elsewhere(case: Make, ending: str) -> Iterator[Case]:
    """Systems that are missing or wrong, places exchanged; and a text that is a formula."""
    if ending != ".geojson":  # which is in degrees, whatever it says
        unsaid = functools.partial(written, frame(crs=None), ending)
        yield case("no coordinate system", WRONG_DATA, "does not say its coordinate system", unsaid)
        yield case("no coordinate system, but the owner says it", DONE, "60 records", unsaid, keys='crs = "EPSG:4326"')
        metres = functools.partial(written, frame(crs="EPSG:32615"), ending)
        yield case("degrees called metres", WRONG_DATA, "is not in degrees, but its places are", metres)
        turned = shapely.points(np.full(COUNT, 450_000.0), 4_640_000 + 2.0117 * np.arange(COUNT))
        other_zone = functools.partial(written, frame(geometry=turned, crs="EPSG:32633"), ending)
        yield case("metres of another zone", WRONG_DATA, "these are another field's counts", other_zone, "map")
    swapped = shapely.points(shapely.get_y(frame().geometry.to_numpy()), shapely.get_x(frame().geometry.to_numpy()))
    yield case("longitude and latitude exchanged", WRONG_DATA, "look swapped", lambda: written(frame(geometry=swapped), ending))
    formulas = {"note": ["=cmd|'/C calc'!A0"] * COUNT}
    yield case("a formula for a name", DONE, "60 records", lambda: written(frame(columns=formulas), ending))
