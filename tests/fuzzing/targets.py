"""What is fed with what: each target takes bytes, reads them as one of its files, and may only refuse in our own words."""

from __future__ import annotations

import functools
import io
import json
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from lossmap.base.errors import LossmapError
from lossmap.base.field import ROLES, ColumnChoice
from lossmap.base.rank_settings import RankSettings
from lossmap.base.settings import Settings
from lossmap.pipelines.check_path import check_path
from lossmap.pipelines.season import _season
from lossmap.pipelines.season_field import Job, _is_unchanged
from lossmap.read import read_counts, read_field, read_points, read_season_row
from lossmap.read.boundary import read_outline
from lossmap.read.detect import understood
from lossmap.read.facts import read_chosen
from lossmap.read.farm import read_farm
from lossmap.read.raw import Raw
from lossmap.read.weather import read_weather
from lossmap.report.files import json_text
from lossmap.report.geojson import as_text
from lossmap.report.season.files import csv_of_season, geojson_of_season
from lossmap.report.season.values import values_of_season

from . import seeds

__all__ = ["TARGETS", "Target"]

#: Between the files of one input.
CUT = b"\n#CUT#\n"
RESULTS = ("run.toml", "summary.json", "evidence.json")
VECTOR = ("points.geojson", "points.gpkg", "points.shp.zip", "points.fgb", "points.parquet")


@dataclass(frozen=True)
class Target:
    """Something that reads.

    Attributes
    ----------
    means : str
        What is read, in words.
    feed : function of (bytes, folder)
        Reads `bytes` as files of `folder`, which it writes; raises LossmapError or nothing.
    seeds : function
        Sound inputs.
    words : sequence of bytes
        What is worth putting in.
    """

    means: str
    feed: Callable[[bytes, Path], None]
    seeds: Callable[[], list[bytes]]
    words: Sequence[bytes] = ()


def _text(content: bytes, folder: Path) -> None:
    """The first byte says which kind of table the rest is."""
    kind, content = (content[0] % 5, content[1:]) if content else (0, b"")
    if kind == 0:
        _field(folder, seeds.FACTS, {"points.csv": content, "counts.csv": seeds.COUNTS})
        check_path(folder).as_text()
    elif kind == 1:
        _field(folder, seeds.FACTS, {"points.csv": seeds.LOG, "counts.csv": content})
        read_counts(read_field(folder))
    elif kind == 2:
        _field(folder, b"", {"farm.toml": seeds.FARM, "readings.csv": content, "weather.csv": seeds.PLAIN_WEATHER})
        read_farm(folder)
    else:
        _field(folder, b"", {"weather.csv": content})
        read_weather(folder / "weather.csv", "made/weather.csv")


def _vector(content: bytes, folder: Path) -> None:
    """The first byte says which format, and whether it is a log or an outline."""
    kind, content = (content[0], content[1:]) if content else (0, b"")
    name = VECTOR[kind % 5]
    if kind >= 128:
        _field(folder, b"", {name: content})
        read_outline(folder / name, name)
    else:
        _field(folder, seeds.BARE_FACTS.replace(b"points.csv", name.encode()), {name: content, "counts.csv": seeds.COUNTS})
        read_points(read_field(folder))


def _task_data(content: bytes, folder: Path) -> None:
    """TASKDATA.XML, header and binary, one after the other; the first byte says whether in a zip, or a zip itself."""
    kind, content = (content[0] % 3, content[1:]) if content else (0, b"")
    parts = dict(zip(("TASKDATA.XML", "TLG00001.XML", "TLG00001.BIN"), content.split(CUT), strict=False))
    facts = b'name = "Made"\ncrop = "corn"\nheader_width = "30 ft"\n[[points]]\npath = "td%s"\n' % (b"" if kind == 0 else b".zip")
    if kind == 0:
        _field(folder, facts, {f"td/{name}": part for name, part in parts.items()})
    else:
        _field(folder, facts, {"td.zip": _zipped(parts) if kind == 1 else content})
    read_points(read_field(folder))


def _zipped(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return out.getvalue()


def _toml(content: bytes, folder: Path) -> None:
    """Facts of a field or a farm, a file of settings, or lines of --set."""
    kind, content = (content[0] % 5, content[1:]) if content else (0, b"")
    if kind == 0:
        _field(folder, content, {"points.csv": seeds.LOG, "counts.csv": seeds.COUNTS})
        read_field(folder)
    elif kind == 1:
        _field(folder, b"", {"farm.toml": content, "readings.csv": seeds.READINGS, "weather.csv": seeds.PLAIN_WEATHER})
        read_farm(folder)
    elif kind in (2, 3):
        _field(folder, b"", {"run.toml": content})
        read_chosen(Settings if kind == 2 else RankSettings, folder / "run.toml")
    else:
        read_chosen(Settings, None, content.decode("utf-8", "surrogateescape").split("\n")[:20])


def _results(content: bytes, folder: Path) -> None:
    """run.toml, summary.json and evidence.json of an earlier map, taken over and pooled as a season does.

    The first byte says whether they follow, one after the other, or sound ones are spoilt where the bytes say.
    """
    kind, content = (content[0] % 2, content[1:]) if content else (0, b"")
    parts = dict(zip(RESULTS, content.split(CUT), strict=False)) if kind == 0 else _spoilt(_Chooser(content))
    _field(folder, b"", parts)
    _is_unchanged(Job("made", folder, folder, Settings()), {"field.toml": "0" * 64})
    row = read_season_row(folder) | {"field_id": "made", "error": "", "remade": 0, "seconds": 0.0}
    season = _season("made", [row], Settings())
    json_text(values_of_season(season))
    csv_of_season(season)
    as_text(geojson_of_season(season))


_ODD: tuple[Any, ...] = (
    None, True, "", "=1+1", "tracks", "corn", "sunflower", -1, 0, 1, 3, 1e3, 1e6, 1e12, 1e308, -1e308, 1e-308, 1e-9, 1e-5, -0.0,
    float("nan"), float("inf"), 10**400, -(10**400), 180.0, -91.0, [], {}, [0.5, 0.5], [1.0], [[]], {"mean": 1.0}, {"type": "Point"},
)  # fmt: skip


def _spoilt(choose: _Chooser) -> dict[str, bytes]:
    """Sound results with one to four values, wherever they stand, replaced or taken away."""
    parts = dict(zip(RESULTS, _results_seeds()[1][1:].split(CUT), strict=True))
    for _ in range(1 + choose.byte() % 4):
        name = choose.of(RESULTS[1:])
        content = json.loads(parts[name])
        _spoil(content, choose)
        parts[name] = json.dumps(content).encode()
    return parts


def _spoil(value: Any, choose: _Chooser) -> None:
    while isinstance(value, (dict, list)) and value:
        key = list(value)[choose.byte() % len(value)] if isinstance(value, dict) else choose.byte() % len(value)
        way = choose.byte()
        if way % 4 == 0 or not isinstance(value[key], (dict, list)) or not value[key]:
            if way < 32:
                del value[key]
            else:
                number = value[key] if isinstance(value[key], float) else 1.0
                value[key] = [*_ODD, number * 1e6, number / 1e6, -number, number * 1.01][choose.byte() % (len(_ODD) + 4)]
            return
        value = value[key]


# What headers are made of, sound and odd.
_HEADERS = (
    "longitude", "latitude", "x", "y", "easting", "northing", "Time", "Mass flow (lb/s)", "mass flow", "flw_lbs", "Yield",
    "yield (bu/ac)", "moisture", "Moisture (%)", "Speed", "Speed (mph)", "Distance (ft)", "dstnc_f", "interval", "Swath width (ft)",
    "width", "Heading (deg)", "work", "machine", "pass", "elevation", "id", "", "Speed (furlongs)", "yield #2", "\u00e9", "yld_vl_d",
    "duration s",
)  # fmt: skip
_UNITS = ("lb/s", "kg/s", "mph", "ft", "%", "bu/ac", "deg", "s", "m", "", "parsec", "ft2/ft", "kg/0")


class _Chooser:
    """Choices made by bytes, so that like bytes make like tables."""

    def __init__(self, content: bytes) -> None:
        self.content, self.at = content, 0

    def byte(self) -> int:
        self.at += 1
        return self.content[self.at - 1] if self.at <= len(self.content) else 0

    def of(self, words: Sequence[str]) -> str:
        return words[self.byte() % len(words)]


def _detection(content: bytes, folder: Path) -> None:
    """A table built by the bytes: which columns, of which values, with which choices of the owner."""
    choose = _Chooser(content)
    rows = 1 + choose.byte() % 40
    names = list(dict.fromkeys(choose.of(_HEADERS) for _ in range(1 + choose.byte() % 10)))
    table = pd.DataFrame({name: _column(choose, rows) for name in names})
    roles = list(ROLES)
    chosen = {}
    for _ in range(choose.byte() % 4):
        unit = choose.of(_UNITS)
        chosen[choose.of(roles)] = ColumnChoice(column=choose.of([*names, "nowhere", ""]), unit=unit or None)
    x = y = None
    if choose.byte() % 4 == 0:
        x, y = (np.asarray(_numbers(choose, rows), float) for _ in "xy")
    raw = Raw("made.csv", table, 2, x, y)
    crs = (None, None, None, "EPSG:4326", "EPSG:32615", "EPSG:2264", "EPSG:4978", "nonsense")[choose.byte() % 8]
    understood(raw, chosen, 56.0 if choose.byte() % 2 else None, (9.144, float("nan"))[choose.byte() % 2], crs)


def _column(choose: _Chooser, rows: int) -> pd.Series:
    match choose.byte() % 5:
        case 0 | 1:
            return pd.Series(_numbers(choose, rows))
        case 2:
            return pd.Series([choose.of(("12", "n/a", "", "1,5", "1e999", "nan", "-", "=1+1", "in", "0x1f", " 7 ")) for _ in range(rows)])
        case 3:
            seconds = choose.byte()
            step = choose.byte() - 100
            texts = [str(pd.Timestamp("2025-10-18T14:00:00Z") + pd.Timedelta(seconds=seconds + step * row)) for row in range(rows)]
            return pd.Series(texts)
        case _:
            return pd.Series([None, *[float("nan")] * (rows - 1)], dtype=object)


def _numbers(choose: _Chooser, rows: int) -> list[float]:
    """A start, a step and now and then a number that is none."""
    start = (0.0, -93.6, 41.9, 30.0, 1e6, 1e308, float("inf"), 4.5)[choose.byte() % 8]
    step = (0.0, 1.8e-5, 1.0, -1.0, 1e-3, 1e307)[choose.byte() % 6]
    values = [start + step * row for row in range(rows)]
    for _ in range(choose.byte() % 3):
        values[choose.byte() % rows] = (float("nan"), float("inf"), -9999.0, 1e15, 0.0)[choose.byte() % 5]
    return values


def _field(folder: Path, facts: bytes, files: dict[str, bytes]) -> None:
    for name, content in {"field.toml": facts, **files}.items():
        file = folder / name
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(content)


def _text_seeds() -> list[bytes]:
    files = (seeds.LOG, seeds.COUNTS, seeds.READINGS, seeds.PLAIN_WEATHER, seeds.GHCN, seeds.DAILY)
    kinds = (0, 1, 2, 3, 4, 3)
    semicolons = seeds.LOG.replace(b",", b";").replace(b".", b",")
    utf16 = seeds.LOG.decode().encode("utf-16")
    return [bytes([kind]) + file for kind, file in zip(kinds, files, strict=True)] + [b"\0" + semicolons, b"\0" + utf16]


@functools.cache
def _vector_seeds() -> list[bytes]:
    logs = [bytes([number]) + seeds.vector_file(name) for number, name in enumerate(VECTOR)]
    return logs + [bytes([130 + number]) + seeds.vector_file(name, "outline") for number, name in enumerate(VECTOR)]


def _task_seeds() -> list[bytes]:
    parts = seeds.TASK_PARTS
    whole = _zipped(dict(zip(("TASKDATA.XML", "TLG00001.XML", "TLG00001.BIN"), parts, strict=True)))
    return [b"\0" + CUT.join(parts), b"\1" + CUT.join(parts), b"\2" + whole]


def _toml_seeds() -> list[bytes]:
    config = b'rng_seed = 2\n[grid]\ncell = "10 m"\n[clean]\nleast_width = "40 %"\n[report]\nprice = "4.20 USD/bu"\nunits = "metric"\n'
    ranked = b'[search]\nslot = "1 h"\nrounds = 1\n[doubt]\nseasons = 20\n[figures.corn]\nheader_per_dry_point = 0.004\n'
    lines = b'grid.cell="5 m"\nreport.units=metric\nclean.flow_delay="12 s"'
    return [b"\0" + seeds.FACTS, b"\1" + seeds.FARM, b"\2" + config, b"\3" + ranked, b"\4" + lines]


@functools.cache
def _results_seeds() -> list[bytes]:
    """A map with counts, whole and cut to what is read, and one of a field that nobody counted."""
    whole = seeds.results()
    short = {"summary.json": _shortened(whole["summary.json"]), "evidence.json": _shortened(whole["evidence.json"])}
    bare = json.loads(short["evidence.json"]) | {"loss": {}, "drivers": {}, "factors": {}, "log_loss_sd": None}
    kinds = [whole, whole | short, whole | short | {"evidence.json": json.dumps(bare).encode()}]
    files = [b"\0" + CUT.join(kind[name] for name in RESULTS) for kind in kinds]
    return files + [b"\1" + bytes((7 * number + step * place) % 256 for place in range(40)) for number, step in ((1, 3), (5, 11), (9, 29))]


def _shortened(content: bytes) -> bytes:
    """The same with lists of three values at most, mixtures of one normal, and a triangle for an outline."""

    def shorter(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: shorter(inner) for name, inner in value.items() if name not in ("curve", "usual_loss", "notes", "flags")}
        return [shorter(inner) for inner in value[:3]] if isinstance(value, list) else value

    cut = shorter(json.loads(content))
    for driver in cut["drivers"].values() if "outline" in cut and isinstance(cut["outline"], dict) else ():
        driver |= {"weights": [0.25, 0.75], "means": driver["means"][:2], "sds": driver["sds"][:2]}
    if isinstance(cut["outline"], dict):
        cut["outline"] = {"type": "Polygon", "coordinates": [[[-93.6, 41.9], [-93.5, 41.9], [-93.5, 42.0], [-93.6, 41.9]]]}
    return json.dumps(cut).encode()


def _detection_seeds() -> list[bytes]:
    return [bytes((7 * number + step * place) % 256 for place in range(160)) for number, step in ((1, 3), (5, 11), (9, 29), (200, 1))]


TARGETS: dict[str, Target] = {
    "text": Target(
        "points, counts, readings and weather as CSV",
        _text,
        _text_seeds,
        (b"1e999", b"NaN", b'"', b"\xff\xfe", b"\xef\xbb\xbf", b"\r\n", b";", b"\t", b"-9999", b"2025-02-30", b"9999-12-31", b"=cmd"),
    ),
    "vector": Target(
        "points and outlines as GeoJSON, GeoPackage, Shapefile, FlatGeobuf, GeoParquet",
        _vector,
        _vector_seeds,
        (b'"coordinates"', b"null", b"1e999", b"NaN", b"EPSG:0", b"GeometryCollection", b"PK\5\6", b"PAR1", b"fgb\3fgb"),
    ),
    "taskdata": Target(
        "ISO 11783-10 task data, folder and zip",
        _task_data,
        _task_seeds,
        (CUT, b"<!DOCTYPE", b"<!ENTITY", b"TLG", b'A="', b"0057", b"PK\3\4", b"&#0;", b"<XFR A=", b"..\\", b'encoding="utf-7"'),
    ),
    "toml": Target(
        "field.toml, farm.toml, --config and --set",
        _toml,
        _toml_seeds,
        (b"[[points]]", b"[[[", b"1e999", b"nan", b"-inf", b"9999-12-31", b"0001-01-01", b'"""', b"\\u0000", b"../", b'"5 m"', b"0x7fff"),
    ),
    "results": Target(
        "run.toml, summary.json and evidence.json of an earlier map, taken over into a season",
        _results,
        _results_seeds,
        (
            CUT,
            b"null",
            b"NaN",
            b"Infinity",
            b"-1e308",
            b"1e-308",
            b"1" * 400,
            b'"coordinates"',
            b'"MultiPolygon"',
            b"[[[",
            b'"drivers"',
            b"true",
        ),
    ),
    "detection": Target("columns to roles and units (lossmap/read/detect.py)", _detection, _detection_seeds),
}


def fed(target: Target, content: bytes, folder: Path) -> Exception | None:
    """What foreign error an input lets through; None where it is read, or refused in our own words."""
    try:
        target.feed(content, folder)
    except LossmapError:
        return None
    except Exception as fault:
        return fault
    return None
