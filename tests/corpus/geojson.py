"""Points as GeoJSON: what only a text can be."""

from __future__ import annotations

import json
from collections.abc import Iterator

from .cases import DONE, WRONG_DATA, Case, spoilt
from .vectors import COUNT

KIND, PATH = "points, GeoJSON", "points.geojson"


def cases() -> Iterator[Case]:
    """Files that name others or hold commands, texts that are no JSON, values and geometry that cannot be."""

    def case(name: str, ends: int, says: str, text: str | bytes, flow: str = "check") -> Case:
        return spoilt(KIND, name, ends, says, flow, log=text, path=PATH)

    secret = {"secret/s.csv": 'id,WKT\n1,"POINT(-93.6 41.9)"\n'}
    names_files = (
        '<OGRVRTDataSource><OGRVRTLayer name="s"><SrcDataSource relativeToVRT="1">secret/s.csv</SrcDataSource>'
        '<GeometryField encoding="WKT" field="WKT"/></OGRVRTLayer></OGRVRTDataSource>'
    )
    runs = '{ "type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read secret/s.csv" }'
    for name, text in {"XML that names other files to open": names_files, "JSON that holds a command": runs}.items():
        yield spoilt(KIND, name, WRONG_DATA, "cannot be read as .geojson", log=text, path=PATH, files=secret)
    yield case(
        "an address to load", WRONG_DATA, "cannot be read as", '{"type": "FeatureCollection", "features": "http://127.0.0.1:9/x.geojson"}'
    )
    yield case("its mark of UTF-8 before it", DONE, "60 records", b"\xef\xbb\xbf" + _collection(_points()).encode())
    yield case("UTF-16", WRONG_DATA, "cannot be read as", _collection(_points()).encode("utf-16"))
    yield case("brackets without end", WRONG_DATA, "cannot be read as", "[" * 100_000)
    yield case("objects without end", WRONG_DATA, "cannot be read as", '{"a":' * 100_000)
    # one GDAL refuses the number, an older one reads it as without end
    yield case("numbers too large", WRONG_DATA, "number", _collection(_points()).replace("12.0", "1e999"))
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


def _feature(geometry: object, **properties: object) -> dict[str, object]:
    return {"type": "Feature", "properties": {"mass flow (kg/s)": 12.0, "speed (m/s)": 2.0, **properties}, "geometry": geometry}


def _collection(features: list[dict[str, object]], **more: object) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features, **more})


def _points(**properties: object) -> list[dict[str, object]]:
    return [_feature({"type": "Point", "coordinates": [-93.6, 41.9 + 1.809e-5 * number]}, **properties) for number in range(COUNT)]
