"""Every file that the commands write, before the validators of others (`tests/judges.py`)."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pytest
import rasterio

import standards
from judges import JUDGES, Judge, Missing, html_validate, ogrinfo_of_parquet


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Path]]:
    """Every file that the runs wrote, by ending."""
    return standards.written(tmp_path_factory.mktemp("written"))


def test_no_file_goes_unjudged(written: dict[str, list[Path]]) -> None:
    """Each ending that is written has judges, and each ending with judges is written."""
    assert set(written) == set(JUDGES)


def test_the_table_speaks_of_all_files(written: dict[str, list[Path]]) -> None:
    """shared/expected/standards.md was written for as many files of each kind as are written now, and names no fault."""
    assert standards.listed() == {ending: len(paths) for ending, paths in written.items()}
    rows = [line for line in standards.TABLE.read_text(encoding="utf-8").splitlines() if line.startswith("| .")]
    assert len(rows) == sum(len(judges) for judges in JUDGES.values())
    assert all(row.endswith((" | 0 |", " | not asked |")) for row in rows)


@pytest.mark.parametrize(("ending", "judge"), [(ending, judge) for ending, judges in JUDGES.items() for judge in judges])
def test_others_find_no_fault(ending: str, judge: Judge, written: dict[str, list[Path]]) -> None:
    """No validator has a word to say about any file."""
    assert _asked(judge, written[ending]) == []


def _asked(judge: Judge, paths: list[Path]) -> list[str]:
    """What it says; a judge that is not here fails in CI and skips elsewhere, with what would bring it.

    Two may lack in CI too: html-validate, where npm has no registry to ask (html5lib judges the same pages), and a GDAL
    with Arrow, which Debian does not build (geoparquet-validator judges the same tables).
    """
    may_lack = {ogrinfo_of_parquet, *([html_validate] if os.environ.get("LOSSMAP_WITHOUT_NPM") else [])}
    try:
        return judge(paths)
    except Missing as lack:
        if os.environ.get("CI") and judge not in may_lack:
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
