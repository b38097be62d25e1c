"""Every file that the commands write, before the validators of others (`tests/judges.py`)."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pytest
import rasterio

from judges import JUDGES, Judge, Missing, html_validate
from lossmap.pipelines.command import main

ROOT = Path(__file__).resolve().parent.parent
FIELDS = ROOT / "demo-fields"

# What hostile files call their things: markup, a template, a formula, a bell, half an emoji, a sign that joins two scripts.
HOSTILE = '<b>&amp; \\"x\\" {{7*7}} ${1} =1+1 ]]> \\u0007 \\u2028 \\u202e --> </script> \\U0001F33D'

#: Every flow, over fields that differ in what they can say. A new flow is a line here.
RUNS: tuple[tuple[str, ...], ...] = (
    ("map", "gravel-eighty", "--set", "report.price=4.20 USD/bu", "--set", "report.hour_value=300 USD/h", "--set", "zones.surrogates=19"),
    ("map", "mill-strip", "--set", "report.units=metric"),
    ("map", "pond-piece"),
    ("map", "hostile", "--set", "report.basemap=https://tiles.example.org/{z}/{x}/{y}.png"),
    ("stops", "gravel-eighty"),
    ("stops", "mill-strip", "--set", "report.units=metric"),
    ("stops", "hostile"),
    ("season", "."),
    ("rank", "made-farm", "--on", "2025-09-25"),
    ("rank", "made-farm", "--on", "2025-10-05", "--set", "page.units=metric"),
)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Path]]:
    """Every file that the runs wrote, by ending; it lies in a folder of its field in one of its flow."""
    place = tmp_path_factory.mktemp("written")
    for number, (flow, name, *words) in enumerate(RUNS):
        source = _hostile(place) if name == "hostile" else FIELDS / name
        assert main([flow, str(source), "--out", str(place / str(number) / flow), "--quiet", *words]) == 0, (flow, name)
    found: dict[str, list[Path]] = {}
    for path in sorted(path for number in range(len(RUNS)) for path in (place / str(number)).rglob("*") if path.is_file()):
        found.setdefault(path.suffix, []).append(path)
    return found


def _hostile(place: Path) -> Path:
    """A demo field under names as bad as a file's text can be."""
    folder = place / "hostile"
    if not folder.exists():
        shutil.copytree(FIELDS / "mill-strip", folder)
        facts = (folder / "field.toml").read_text()
        for name in ("Mill strip (made)", "rigid", "green"):
            assert f'"{name}"' in facts
            facts = facts.replace(f'"{name}"', f'"{HOSTILE}"')
        (folder / "field.toml").write_text(facts)
        counts = (folder / "counts.csv").read_text()
        (folder / "counts.csv").write_text(counts.replace("S01,", "<i>&=S01,"))
    return folder


def test_no_file_goes_unjudged(written: dict[str, list[Path]]) -> None:
    """Each ending that is written has judges, and each ending with judges is written."""
    assert set(written) == set(JUDGES)


@pytest.mark.parametrize(("ending", "judge"), [(ending, judge) for ending, judges in JUDGES.items() for judge in judges])
def test_others_find_no_fault(ending: str, judge: Judge, written: dict[str, list[Path]]) -> None:
    """No validator has a word to say about any file."""
    assert _asked(judge, written[ending]) == []


def _asked(judge: Judge, paths: list[Path]) -> list[str]:
    """What it says; a judge that is not here fails in CI and skips elsewhere, with what would bring it.

    html-validate alone may lack in CI too, where npm has no registry to ask: html5lib judges the same pages.
    """
    try:
        return judge(paths)
    except Missing as lack:
        if os.environ.get("CI") and not (judge is html_validate and os.environ.get("LOSSMAP_WITHOUT_NPM")):
            pytest.fail(f"{judge.__name__} must be there in CI: {lack}")
        pytest.skip(str(lack))


def _collection(geometry: dict[str, object], **members: object) -> str:
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    return json.dumps({"type": "FeatureCollection", "features": [feature], **members})


def _square(*turn: int) -> dict[str, object]:
    corners = [[0, 0], [1, 0], [1, 1], [0, 1]]
    return {"type": "Polygon", "coordinates": [[corners[place] for place in turn]]}


GPX = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">{}</gpx>'
WELL_TURNED = _square(0, 1, 2, 3, 0)

#: A small thing wrong in a file of each kind, and a word of what is said about it.
BROKEN: dict[str, tuple[str, str, str]] = {
    "not a number": ("strict_json", '{"a": NaN}', "NaN"),
    "a name twice": ("strict_json", '{"a": 1, "a": 2}', "twice"),
    "a mark before the text": ("strict_json", "\ufeff{}", "BOM"),
    "a ring turned left to right": ("rfc_7946", _collection(_square(0, 3, 2, 1, 0)), "exterior_not_ccw"),
    "a ring not closed": ("rfc_7946", _collection(_square(0, 1, 2, 3)), "unclosed"),
    "metres for degrees": ("rfc_7946", _collection({"type": "Point", "coordinates": [431000, 4640000]}), "outside_lat_lon"),
    "a crs": ("rfc_7946", _collection(WELL_TURNED, crs={"type": "name"}), "crs"),
    "properties of a collection": ("rfc_7946", _collection(WELL_TURNED, properties={}), "properties"),
    "a box of three numbers": ("rfc_7946", _collection(WELL_TURNED, bbox=[0, 0, 1]), "bbox"),
    "one corner": ("rfc_7946", _collection({"type": "Polygon", "coordinates": [[0, 0]]}), "nest"),
    "parts out of order": ("gpx_1_1", GPX.format('<wpt lat="1" lon="2"><desc>d</desc><name>n</name></wpt>'), "name"),
    "no such latitude": ("gpx_1_1", GPX.format('<wpt lat="91" lon="2"/>'), "90"),
    "an element of no schema": ("gpx_1_1", GPX.format("<stop/>"), "stop"),
    "a stray end": ("html5", "<!DOCTYPE html><title>x</title></b>", "unexpected-end-tag"),
    "one id twice": ("html_validate", '<!DOCTYPE html><html lang="en"><title>x</title><p id="a"></p><p id="a"></p></html>', "no-dup-id"),
    "no feature": ("ogrinfo", '{"type": "FeatureCollection", "features": [1]}', "expected"),
    "a key twice": ("toml", "a = 1\na = 2\n", "overwrite"),
    "a cell too many": ("rfc_4180", "a,b\n1,2,3\n", "row 2"),
}


@pytest.mark.parametrize("wrong", BROKEN)
def test_the_judges_see_faults(wrong: str, tmp_path: Path) -> None:
    """Each judge speaks up about a small fault: one that says nothing to anything would prove nothing."""
    name, text, word = BROKEN[wrong]
    ending, judge = next((ending, judge) for ending, judges in JUDGES.items() for judge in judges if judge.__name__ == name)
    (tmp_path / f"broken{ending}").write_text(text, encoding="utf-8")
    assert word in " ".join(_asked(judge, [tmp_path / f"broken{ending}"]))


def test_the_judges_of_summaries_see_faults(written: dict[str, list[Path]], tmp_path: Path) -> None:
    """A summary or evidence without the version that wrote it is told apart from a whole one."""
    from judges import published_schema

    for path in written[".json"]:
        broken = tmp_path / path.parent.parent.name / "field"
        broken.mkdir(parents=True, exist_ok=True)
        whole = json.loads(path.read_text())
        (broken / path.name).write_text(json.dumps({name: value for name, value in whole.items() if name != "lossmap"}))
        assert "'lossmap' is a required property" in " ".join(published_schema([broken / path.name]))


def test_the_judges_of_tables_and_rasters_see_faults(written: dict[str, list[Path]], tmp_path: Path) -> None:
    """Columns that the metadata does not know, and a plain GeoTIFF, are faults."""
    cells = next(path for path in written[".parquet"] if path.name == "cells.parquet")
    table = gpd.read_parquet(cells)
    table.to_parquet(tmp_path / "older.parquet", schema_version="1.0.0")
    with rasterio.open(written[".tif"][0]) as raster:
        profile = raster.profile | {"driver": "GTiff", "tiled": False}
        for unwanted in ("blockxsize", "blockysize", "interleave"):
            profile.pop(unwanted, None)
        with rasterio.open(tmp_path / "plain.tif", "w", **(profile | {"width": 1200, "height": 1200})) as plain:
            plain.write(raster.read(out_shape=(raster.count, 1200, 1200)))
    of: dict[str, Callable[[list[Path]], list[str]]] = {judge.__name__: judge for judges in JUDGES.values() for judge in judges}
    assert "not 1.1" in " ".join(_asked(of["geoparquet_1_1"], [tmp_path / "older.parquet"]))
    assert "not tiled" in " ".join(_asked(of["cloud_optimized"], [tmp_path / "plain.tif"]))
    said = " ".join(_asked(of["gdalinfo"], [tmp_path / "plain.tif"]))
    assert "layout None" in said
    assert "band 1 has no name" in said
