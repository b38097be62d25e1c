"""Points as GeoJSON, GeoPackage, Shapefile, FlatGeobuf and GeoParquet."""

from __future__ import annotations

import functools
import io
import json
import tempfile
import warnings
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import shapely

from .cases import DONE, LOG, WRONG_DATA, Case, field, spoilt, truncated

COUNT = 60
NAMES = {".geojson": "GeoJSON", ".gpkg": "GeoPackage", ".shp.zip": "Shapefile, zipped", ".fgb": "FlatGeobuf", ".parquet": "GeoParquet"}
#: GDAL reads a cut-off FlatGeobuf or GeoJSON to its end or not at all; every other format keeps what it needs to be read at its end.
SHARES = (0.0, 0.002, 0.1, 0.3, 0.5, 0.7, 0.9, 0.999)


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


def cases() -> Iterator[Case]:
    """Each format cut off, empty, of another kind, without places; then what only one of them can be."""
    for ending, kind in NAMES.items():
        yield from _any_format(f"points, {kind}", ending)
    yield from _geojson()
    yield from _geopackage()
    yield from _shapefile()
    yield from _parquet()


def _made(kind: str, name: str, ends: int, says: str, path: str, content: Callable[[], bytes], flow: str = "check", keys: str = "") -> Case:
    return Case(kind, name, lambda folder: field(folder, content(), path=path, keys=keys), ends, says, flow)


def _any_format(kind: str, ending: str) -> Iterator[Case]:
    path = f"points{ending}"
    yield _made(kind, "sound", DONE, "60 records", path, lambda: sound(ending))
    for share in SHARES:
        says = "is empty (0 bytes)" if share == 0 else "cannot be read as"
        if (ending, share) == (".fgb", 0.3):  # the index is cut, and GDAL finds nothing by it
            says = "holds no record"
        yield _made(
            kind, f"first {share:.1%}", WRONG_DATA, says, path, lambda share=share: next(iter(truncated(sound(ending), share).values()))
        )
    for name, content in {"text": LOG.encode(), "zeros": bytes(5_000), "a page": b"<html></html>"}.items():
        yield _made(kind, f"{name} under its name", WRONG_DATA, "cannot be read as", path, lambda content=content: content)
    for other in NAMES:
        if other != ending:
            yield _made(kind, f"a file of {other} under its name", WRONG_DATA, "cannot be read as", path, lambda other=other: sound(other))
    yield _made(
        kind,
        "no record",
        WRONG_DATA,
        "holds no record",
        path,
        lambda: written(frame().iloc[:0], ending, **({"geometry_type": "Point"} if ending != ".parquet" else {})),
    )
    outlines = shapely.buffer(frame().geometry.to_numpy(), 1e-5)
    yield _made(
        kind, "polygons", WRONG_DATA, "record 1: is a polygon, not a point", path, lambda: written(frame(geometry=outlines), ending)
    )
    lines = shapely.linestrings([[[-93.6, 41.9], [-93.6, 41.91]]] * COUNT)
    yield _made(kind, "lines", WRONG_DATA, "record 1: is a line, not a point", path, lambda: written(frame(geometry=lines), ending))
    some = frame().geometry.to_numpy().copy()
    some[3:6] = None
    unindexed = {"SPATIAL_INDEX": "NO"} if ending == ".fgb" else {}
    yield _made(kind, "records without a place", DONE, "60 records", path, lambda: written(frame(geometry=some), ending, **unindexed))
    if ending != ".geojson":
        yield _made(
            kind, "no coordinate system", WRONG_DATA, "does not say its coordinate system", path, lambda: written(frame(crs=None), ending)
        )
        yield _made(
            kind,
            "no coordinate system, but the owner says it",
            DONE,
            "60 records",
            path,
            lambda: written(frame(crs=None), ending),
            keys='crs = "EPSG:4326"',
        )
        yield _made(
            kind,
            "degrees called metres",
            WRONG_DATA,
            "is not in degrees, but its places are",
            path,
            lambda: written(frame(crs="EPSG:32615"), ending),
        )
        turned = shapely.points(np.full(COUNT, 450_000.0), 4_640_000 + 2.0117 * np.arange(COUNT))
        yield _made(
            kind,
            "metres of another zone",
            WRONG_DATA,
            "these are another field's counts",
            path,
            lambda: written(frame(geometry=turned, crs="EPSG:32633"), ending),
            "map",
        )
    swapped = shapely.points(shapely.get_y(frame().geometry.to_numpy()), shapely.get_x(frame().geometry.to_numpy()))
    yield _made(
        kind, "longitude and latitude exchanged", WRONG_DATA, "look swapped", path, lambda: written(frame(geometry=swapped), ending)
    )
    yield _made(
        kind,
        "a formula for a name",
        DONE,
        "60 records",
        path,
        lambda: written(frame(columns={"note": ["=cmd|'/C calc'!A0"] * COUNT}), ending),
    )


def _feature(geometry: object, **properties: object) -> dict[str, object]:
    return {"type": "Feature", "properties": {"mass flow (kg/s)": 12.0, "speed (m/s)": 2.0, **properties}, "geometry": geometry}


def _collection(features: list[dict[str, object]], **more: object) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features, **more})


def _points(**properties: object) -> list[dict[str, object]]:
    return [_feature({"type": "Point", "coordinates": [-93.6, 41.9 + 1.809e-5 * number]}, **properties) for number in range(COUNT)]


def _geojson() -> Iterator[Case]:
    kind, path = "points, GeoJSON", "points.geojson"

    def case(name: str, ends: int, says: str, text: str | bytes, flow: str = "check") -> Case:
        return spoilt(kind, name, ends, says, flow, log=text, path=path)

    secret = {"secret/s.csv": 'id,WKT\n1,"POINT(-93.6 41.9)"\n'}
    names_files = (
        '<OGRVRTDataSource><OGRVRTLayer name="s"><SrcDataSource relativeToVRT="1">secret/s.csv</SrcDataSource>'
        '<GeometryField encoding="WKT" field="WKT"/></OGRVRTLayer></OGRVRTDataSource>'
    )
    runs = '{ "type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read secret/s.csv" }'
    for name, text in {"XML that names other files to open": names_files, "JSON that holds a command": runs}.items():
        yield spoilt(kind, name, WRONG_DATA, "cannot be read as .geojson", log=text, path=path, files=secret)
    yield case(
        "an address to load", WRONG_DATA, "cannot be read as", '{"type": "FeatureCollection", "features": "http://127.0.0.1:9/x.geojson"}'
    )
    yield case("its mark of UTF-8 before it", DONE, "60 records", b"\xef\xbb\xbf" + _collection(_points()).encode())
    yield case("UTF-16", WRONG_DATA, "cannot be read as", _collection(_points()).encode("utf-16"))
    yield case("brackets without end", WRONG_DATA, "cannot be read as", "[" * 100_000)
    yield case("objects without end", WRONG_DATA, "cannot be read as", '{"a":' * 100_000)
    yield case("numbers too large", WRONG_DATA, "Unrecognized number: 1e999", _collection(_points()).replace("12.0", "1e999"))
    yield case("NaN for a flow", DONE, "60 records", _collection(_points()).replace("12.0", "NaN", 3))
    yield case("NaN for a place", DONE, "60 records", _collection(_points()).replace("[-93.6, 41.9]", "[NaN, NaN]", 1))
    yield case(
        "a place of text",
        WRONG_DATA,
        "no record has a position",
        _collection([_feature({"type": "Point", "coordinates": ["a", "b"]})] * COUNT),
        "map",
    )
    yield case(
        "a place of no numbers",
        WRONG_DATA,
        "no record has a position",
        _collection([_feature({"type": "Point", "coordinates": []})] * COUNT),
        "map",
    )
    yield case(
        "a kind of geometry that is none",
        WRONG_DATA,
        "no record has a position",
        _collection([_feature({"type": "Spline", "coordinates": [1, 2]})] * COUNT),
        "map",
    )
    yield case(
        "collections of collections",
        WRONG_DATA,
        "is a collection, not a point",
        _collection([_feature({"type": "GeometryCollection", "geometries": []})] * COUNT),
    )
    yield case(
        "one word twice",
        WRONG_DATA,
        "would be 9 m/s",
        _collection(_points()).replace('"speed (m/s)": 2.0', '"speed (m/s)": 2.0, "speed (m/s)": 9.0'),
    )
    yield case(
        "values of every kind in one column",
        DONE,
        "60 records",
        _collection(
            [
                *_points()[:-2],
                *(_feature({"type": "Point", "coordinates": [-93.6, 41.90107]}, odd=value) for value in ({"a": 1}, [1, "x", None])),
            ]
        ),
    )
    yield case(
        "a system that is none, mapped",
        DONE,
        "loss",
        _collection(_points(), crs={"type": "name", "properties": {"name": "urn:nothing"}}),
        "map",
    )
    yield case(
        "an outline of the whole earth",
        WRONG_DATA,
        "is a polygon, not a point",
        _collection([_feature({"type": "Polygon", "coordinates": [[[-180, -90], [180, -90], [180, 90], [-180, 90], [-180, -90]]]})]),
    )
    yield case("a script for a value", DONE, "60 records", _collection(_points(note="<script>alert(1)</script>{{7*7}}")))
    yield case("a text of a megabyte", DONE, "60 records", _collection(_points(note="x" * 20_000)))


def _geopackage() -> Iterator[Case]:
    kind, path = "points, GeoPackage", "points.gpkg"

    def two_layers() -> bytes:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "two.gpkg"
            frame().to_file(file, layer="log")
            frame().to_file(file, layer="extra")
            return file.read_bytes()

    def blotted() -> bytes:
        content = bytearray(sound(".gpkg"))
        content[3_000:60_000:7] = b"\xff" * len(content[3_000:60_000:7])
        return bytes(content)

    def database() -> bytes:
        import sqlite3

        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "x.db"
            with sqlite3.connect(file) as made:
                made.execute("create table t (a)")
                made.execute("create trigger r after insert on t begin select load_extension('/tmp/x'); end")
            made.close()
            return file.read_bytes()

    yield _made(kind, "two layers", WRONG_DATA, "name one with layer = ...", path, two_layers)
    yield _made(kind, "two layers, one named", DONE, "60 records", path, two_layers, keys='layer = "log"')
    yield _made(kind, "a layer that is not there", WRONG_DATA, "did you mean log?", path, two_layers, keys='layer = "logg"')
    yield _made(
        kind, "a layer called as a command", WRONG_DATA, "has no layer", path, two_layers, keys='layer = "log\'; drop table log; --"'
    )
    yield _made(kind, "bytes blotted out", WRONG_DATA, "cannot be read as", path, blotted)
    yield _made(kind, "a database without layers", WRONG_DATA, "cannot be read as .gpkg", path, database)


def _zip(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


@functools.cache
def shapefile() -> dict[str, bytes]:
    """The members of the sound Shapefile."""
    with zipfile.ZipFile(io.BytesIO(sound(".shp.zip"))) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _shapefile() -> Iterator[Case]:
    kind, path = "points, Shapefile, zipped", "points.shp.zip"

    def members(**changed: bytes | None) -> dict[str, bytes]:
        kept = {name.rpartition(".")[2]: content for name, content in shapefile().items()}
        return {f"points.{end}": content for end, content in {**kept, **changed}.items() if content is not None}

    def case(name: str, ends: int, says: str, content: Callable[[], dict[str, bytes]], flow: str = "check", keys: str = "") -> Case:
        return _made(kind, name, ends, says, path, lambda: _zip(content()), flow, keys)

    yield case("without its table", WRONG_DATA, "lacks its .dbf; copy all files", lambda: members(dbf=None))
    yield case("without its index", WRONG_DATA, "lacks its .shx; copy all files", lambda: members(shx=None))
    yield case("without its system", WRONG_DATA, "does not say its coordinate system", lambda: members(prj=None))
    yield case("a system of nonsense", WRONG_DATA, "cannot be read as .zip", lambda: members(prj=b'GEOGCS["nonsense"'))
    yield case("a table cut off", WRONG_DATA, "points.dbf is cut off (100 of", lambda: members(dbf=members()["points.dbf"][:100]))
    yield case(
        "a table cut off by rows", WRONG_DATA, "points.dbf is cut off (1,500 of", lambda: members(dbf=members()["points.dbf"][:1500])
    )
    yield case("places cut off", WRONG_DATA, "points.shp is cut off (400 of", lambda: members(shp=members()["points.shp"][:400]))
    yield case("no Shapefile in it", WRONG_DATA, "holds no Shapefile and no TASKDATA.XML", lambda: {"read me.txt": b"x"})
    yield case("nothing in it", WRONG_DATA, "holds no Shapefile and no TASKDATA.XML", dict)
    yield case(
        "a file that names other files", WRONG_DATA, "holds no Shapefile", lambda: {"points.vrt": b"<OGRVRTDataSource></OGRVRTDataSource>"}
    )
    yield case(
        "a text called .shp",
        WRONG_DATA,
        "points.shp is no Shapefile",
        lambda: {**members(), "points.shp": b"<OGRVRTDataSource></OGRVRTDataSource>" * 9},
    )
    yield case("in a folder inside", DONE, "60 records", lambda: {f"export/{name}": content for name, content in members().items()})
    yield case(
        "names that lead out",
        WRONG_DATA,
        "cannot be read as .zip",
        lambda: {f"../../{name}": content for name, content in members().items()},
    )
    yield case(
        "two in one zip",
        WRONG_DATA,
        "has 2 layers",
        lambda: {**members(), **{name.replace("points", "more"): content for name, content in members().items()}},
    )
    yield case("a bomb", WRONG_DATA, "times its size, which no log does", lambda: {**members(), "points.sbn": bytes(30_000_000)})
    yield case("a zip in the zip", WRONG_DATA, "holds no Shapefile", lambda: {"points.zip": sound(".shp.zip")})
    yield case(
        "names of another alphabet",
        DONE,
        "60 records",
        lambda: {f"\u043f\u043e\u043b\u0435.{name.rpartition('.')[2]}": content for name, content in members().items()},
    )
    yield _made(kind, "a password", WRONG_DATA, "is encrypted", path, lambda: _locked(_zip(members())))

    def loose(folder: Path, **changed: bytes | None) -> None:
        field(folder, path="points.shp", log=None, files=members(**changed))  # type: ignore[arg-type]

    def linked(folder: Path) -> None:
        loose(folder, dbf=None)
        (folder / "secret.dbf").write_bytes(members()["points.dbf"])
        (folder / "creek" / "points.dbf").symlink_to(folder / "secret.dbf")

    yield Case("points, Shapefile", "sound", loose, DONE, "60 records")
    yield Case(
        "points, Shapefile",
        "a table that is a link out of the folder",
        linked,
        WRONG_DATA,
        "points.dbf beside it is a link out of the folder",
    )
    yield Case("points, Shapefile", "without its index", lambda folder: loose(folder, shx=None), WRONG_DATA, "lacks its .shx")
    yield Case("points, Shapefile", "without its table", lambda folder: loose(folder, dbf=None), WRONG_DATA, "lacks its .dbf")
    yield Case(
        "points, Shapefile",
        "cut off",
        lambda folder: loose(folder, shp=members()["points.shp"][:300]),
        WRONG_DATA,
        "points.shp is cut off (300 of",
    )


def _locked(content: bytes) -> bytes:
    """A zip whose members say that they are encrypted."""
    out = bytearray(content)
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = out.find(mark)
        while place >= 0:
            out[place + at] |= 1
            place = out.find(mark, place + 4)
    return bytes(out)


def _parquet() -> Iterator[Case]:
    kind, path = "points, GeoParquet", "points.parquet"

    def table(columns: dict[str, Any], metadata: dict[bytes, bytes] | None = None, **how: Any) -> bytes:
        out = pa.BufferOutputStream()
        made = pa.table(columns)
        pq.write_table(made.replace_schema_metadata(metadata) if metadata else made, out, **how)
        return bytes(out.getvalue().to_pybytes())

    plain = {
        "longitude": np.full(COUNT, -93.6),
        "latitude": 41.9 + 1.809e-5 * np.arange(COUNT),
        "mass flow (kg/s)": np.full(COUNT, 12.0),
        "speed (m/s)": np.full(COUNT, 2.0117),
    }
    yield _made(kind, "places in columns", DONE, "60 records", path, lambda: table(plain))
    yield _made(kind, "a description of places that is no JSON", DONE, "60 records", path, lambda: table(plain, {b"geo": b"{nonsense"}))
    yield _made(
        kind,
        "a description of a column that is not there",
        DONE,
        "60 records",
        path,
        lambda: table(
            plain,
            {b"geo": b'{"version": "1.1.0", "primary_column": "shape", "columns": {"shape": {"encoding": "WKB", "geometry_types": []}}}'},
        ),
    )
    broken = {**plain, "geometry": pa.array([b"\x01\x01\x00"] * COUNT, pa.binary())}
    described = {
        b"geo": b'{"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB", "geometry_types": []}}}'
    }
    yield _made(kind, "places cut off", WRONG_DATA, "cannot be read as .parquet", path, lambda: table(broken, described))
    yield _made(kind, "lists in a column", DONE, "60 records", path, lambda: table({**plain, "odd": pa.array([[1, 2]] * COUNT)}))
    passes = {"pass": pa.array([{"a": number} for number in range(COUNT)])}
    yield _made(kind, "tables for passes", DONE, "60 records", path, lambda: table({**plain, **passes}))
    yield _made(
        kind,
        "lists beside words that mean no value",
        DONE,
        "60 records",
        path,
        lambda: table({**plain, "pass": pa.array([[1, 2]] * COUNT)}),
        keys='missing = ["x"]',
    )
    yield _made(kind, "tables in a column", DONE, "60 records", path, lambda: table({**plain, "odd": pa.array([{"a": 1}] * COUNT)}))
    yield _made(
        kind,
        "days of the year 292277",
        DONE,
        "60 records",
        path,
        lambda: table({**plain, "odd": pa.array([2**62] * COUNT, pa.timestamp("us"))}),
    )
    yield _made(kind, "two columns of one name", WRONG_DATA, "cannot be read as .parquet", path, lambda: _twice(plain))
    yield _made(
        kind,
        "millions of rows in a thousand bytes",
        WRONG_DATA,
        "more than one field has",
        path,
        lambda: table({"a": pa.nulls(3_000_000, pa.int8())}),
    )
    long = pa.DictionaryArray.from_arrays(pa.array(np.zeros(50_000, dtype=np.int32)), pa.array(["x" * 100_000]))
    yield _made(
        kind,
        "a text of a megabyte written once for every row",
        WRONG_DATA,
        "would unpack to more than",
        path,
        lambda: table({"a": long, "longitude": np.zeros(50_000)}, store_schema=False),
    )


def _twice(columns: dict[str, Any]) -> bytes:
    out = pa.BufferOutputStream()
    arrays = [pa.array(values) for values in columns.values()]
    pq.write_table(pa.Table.from_arrays([*arrays, arrays[0]], names=[*columns, "longitude"]), out)
    return bytes(out.getvalue().to_pybytes())
