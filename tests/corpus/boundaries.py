"""Outlines of fields."""

from __future__ import annotations

import json
import tempfile
import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from .cases import DONE, WRONG_DATA, WRONG_WAY, Case, field, spoilt

KIND = "boundary"
WEST, SOUTH, EAST, NORTH = -93.6005, 41.8999, -93.5995, 41.9012
SQUARE = [[WEST, SOUTH], [EAST, SOUTH], [EAST, NORTH], [WEST, NORTH], [WEST, SOUTH]]
HOLE = [[-93.5998, 41.9003], [-93.5998, 41.9006], [-93.5996, 41.9006], [-93.5996, 41.9003], [-93.5998, 41.9003]]


def _case(name: str, ends: int, says: str, geometry: object, flow: str = "check") -> Case:
    text = geometry if isinstance(geometry, (str, bytes)) else json.dumps({"type": "Feature", "properties": {}, "geometry": geometry})
    return spoilt(KIND, name, ends, says, flow, boundary=("edge.geojson", text))


def _polygon(*rings: Sequence[Sequence[float]]) -> dict[str, object]:
    return {"type": "Polygon", "coordinates": list(rings)}


def _file(name: str, ends: int, says: str, ending: str, shape: shapely.Geometry, crs: str | None, flow: str = "check") -> Case:
    def write(folder: Path) -> None:
        with tempfile.TemporaryDirectory() as aside, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a file without a coordinate system: it is meant
            file = Path(aside) / f"edge{ending}"
            table = gpd.GeoDataFrame({"id": [1]}, geometry=[shape], crs=crs)
            table.to_parquet(file) if ending == ".parquet" else table.to_file(file)
            field(folder, boundary=(file.name, file.read_bytes()))

    return Case(KIND, name, write, ends, says, flow)


def cases() -> Iterator[Case]:
    """Rings that cross, holes, other kinds and systems, sizes from nothing to the earth."""
    box = shapely.Polygon(SQUARE)
    yield _case("sound", DONE, "boundary, 1.20 ha", _polygon(SQUARE))
    yield _case("a hole", DONE, "boundary, 1.14 ha", _polygon(SQUARE, HOLE))
    yield _case(
        "a hole under the log, mapped",
        WRONG_DATA,
        "check that the boundary is this field's",
        _polygon(SQUARE, [[-93.6003, 41.9001], [-93.6003, 41.9010], [-93.5997, 41.9010], [-93.5997, 41.9001], [-93.6003, 41.9001]]),
        "map",
    )
    yield _case("a hole larger than the field", DONE, "boundary", _polygon(HOLE, SQUARE))
    yield _case("a ring that crosses itself", DONE, "boundary, 0.60 ha", _polygon([SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3], SQUARE[0]]))
    yield _case("a ring that goes the other way", DONE, "boundary, 1.20 ha", _polygon(SQUARE[::-1]))
    yield _case("a ring that is not closed", WRONG_DATA, "do not form a closed linestring", _polygon(SQUARE[:-1]))
    yield _case("a ring that repeats its corners", DONE, "boundary, 1.20 ha", _polygon([corner for corner in SQUARE for _ in range(3)]))
    yield _case("a spike", DONE, "boundary, 1.20 ha", _polygon([*SQUARE[:2], [-93.59, SOUTH], SQUARE[1], *SQUARE[2:]]))
    yield _case("two that overlap", DONE, "boundary, 1.20 ha", {"type": "MultiPolygon", "coordinates": [[SQUARE], [SQUARE]]})
    yield _case("a third number in each corner", DONE, "boundary, 1.20 ha", _polygon([[*corner, 300.0] for corner in SQUARE]))
    yield _case("no area", WRONG_DATA, "holds no polygon with an area", _polygon([SQUARE[0], SQUARE[1], SQUARE[0], SQUARE[0]]))
    yield _case("one corner", WRONG_DATA, "holds no polygon with an area", _polygon([SQUARE[0]] * 4))
    yield _case("no corner", WRONG_DATA, "holds no polygon with an area", {"type": "Polygon", "coordinates": []})
    yield _case("a line", WRONG_DATA, "holds no polygon with an area (found LineString)", {"type": "LineString", "coordinates": SQUARE})
    yield _case("a point", WRONG_DATA, "holds no polygon with an area (found Point)", {"type": "Point", "coordinates": SQUARE[0]})
    yield _case("nothing", WRONG_DATA, "holds no polygon with an area", None)
    yield _case(
        "polygons in a collection",
        DONE,
        "boundary, 1.20 ha",
        {"type": "GeometryCollection", "geometries": [_polygon(SQUARE), {"type": "Point", "coordinates": SQUARE[0]}]},
    )
    yield _case(
        "corners that are no numbers",
        WRONG_DATA,
        "cannot be read as .geojson",
        '{"type":"Polygon","coordinates":[[[NaN,NaN],[NaN,1],[1,NaN],[NaN,NaN]]]}',
    )
    yield _case(
        "corners without end",
        WRONG_DATA,
        "has a corner that is no place",
        '{"type":"Polygon","coordinates":[[[1e999,0],[1,1e999],[1,1],[1e999,0]]]}',
    )
    yield _case(
        "longitude and latitude exchanged", WRONG_DATA, "longitude and latitude look swapped", _polygon([[y, x] for x, y in SQUARE])
    )
    yield _case("another field's", WRONG_DATA, "check that the boundary is this field's", _polygon([[x + 1, y] for x, y in SQUARE]), "map")
    yield _case("half the earth", WRONG_DATA, "creek: spans", _polygon([[-179, -80], [0, -80], [0, 80], [-179, 80], [-179, -80]]), "map")
    yield _case("a county", WRONG_DATA, "cells of 5 m, at most", _polygon([[-94, 41], [-93, 41], [-93, 42], [-94, 42], [-94, 41]]), "map")
    yield _case(
        "a square metre",
        WRONG_DATA,
        "check that the boundary is this field's",
        _polygon([[-93.6, 41.9002], [-93.59999, 41.9002], [-93.59999, 41.90021], [-93.6, 41.90021], [-93.6, 41.9002]]),
        "map",
    )
    turns = np.linspace(0, 2 * np.pi, 50_000)
    yield _case(
        "fifty thousand corners, mapped",
        DONE,
        "loss",
        _polygon(np.column_stack([-93.6 + 0.0005 * np.cos(turns), 41.9005 + 0.0007 * np.sin(turns)]).round(9).tolist()),
        "map",
    )
    star = [[-93.6 + 0.0005 * np.cos(turn * 997), 41.9005 + 0.0007 * np.sin(turn * 997)] for turn in range(400)]
    yield _case("eighty thousand crossings", WRONG_DATA, "crosses itself more than 2,000 times", _polygon([*star, star[0]]))
    yield _case("empty", WRONG_DATA, "edge.geojson: is empty (0 bytes)", "")
    yield _case("cut off", WRONG_DATA, "cannot be read as .geojson", json.dumps(_polygon(SQUARE))[:70])
    yield _case("no feature", WRONG_DATA, "holds no polygon; give", '{"type":"FeatureCollection","features":[]}')
    yield _case(
        "XML that names other files to open",
        WRONG_DATA,
        "cannot be read as .geojson",
        '<OGRVRTDataSource><OGRVRTLayer name="s"><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>',
    )
    yield _file("a file without a system", WRONG_DATA, "does not say its coordinate system", ".shp.zip", box, None)
    yield _file("degrees called metres", WRONG_DATA, "check that the boundary is this field's", ".gpkg", box, "EPSG:32615", "map")
    yield _file(
        "a system of the moon",
        WRONG_DATA,
        "cannot be turned into longitude and latitude; save it as GeoJSON",
        ".parquet",
        box,
        "IAU_2015:30100",
    )
    yield _file("a system of its own", DONE, "boundary", ".parquet", box, "EPSG:4269")
    yield from _other_files()


def _other_files() -> Iterator[Case]:
    kml = '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>&a3;</name><Polygon><outerBoundaryIs><LinearRing><coordinates>%s</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></kml>'
    corners = " ".join(f"{x},{y}" for x, y in SQUARE)
    laughs = '<!DOCTYPE kml [<!ENTITY a0 "haha">' + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10)) + "]>"
    outside = '<!DOCTYPE kml [<!ENTITY a3 SYSTEM "file:///etc/passwd">]>'
    plain = (kml % corners).replace("&a3;", "Made")
    yield spoilt(KIND, "KML", DONE, "boundary, 1.20 ha", boundary=("edge.kml", plain))
    yield spoilt(
        KIND,
        "KML with entities in entities",
        WRONG_DATA,
        "cannot be read as .kml",
        boundary=("edge.kml", laughs + (kml % corners).replace("&a3;", "&a9;")),
    )
    yield spoilt(
        KIND, "KML with an entity of another file", WRONG_DATA, "cannot be read as .kml", boundary=("edge.kml", outside + kml % corners)
    )
    yield spoilt(KIND, "a picture", WRONG_DATA, "is no file lossmap reads (found .png)", boundary=("edge.png", b"\x89PNG"))
    yield spoilt(KIND, "a name without an ending", WRONG_DATA, "is no file lossmap reads (found no ending)", boundary=("edge", plain))
    yield spoilt(KIND, "a path out of the folder", WRONG_WAY, "lies outside the field's folder", boundary=("../edge.geojson", plain))
