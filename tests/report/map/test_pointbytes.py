"""The log's points as bytes."""

from __future__ import annotations

import base64
import dataclasses
import zlib
from typing import Any

import numpy as np
import pytest
import shapely

from lossmap.base.field import FieldMap
from lossmap.report.map import pointbytes
from lossmap.report.numbers import words_of


def unpacked(found: dict[str, Any]) -> dict[str, np.ndarray]:
    """What the page's script makes of it."""
    loose = np.frombuffer(zlib.decompress(base64.b64decode(found["packed"]), -15), dtype=np.uint8)
    n = found["n"]
    state = loose[:n]
    east, north = (coordinate(loose[start : start + 2 * n]) for start in (n, 3 * n))
    levels = np.full(n, np.nan)
    levels[state == 0] = np.array(found["levels"])[np.cumsum(misses(loose[5 * n :]))]
    return {
        "easting": found["west"] + east * found["step"],
        "northing": found["south"] + north * found["step"],
        "state": state,
        "shown": levels,
    }


def misses(loose: np.ndarray) -> np.ndarray:
    """A column of low bytes and one of high ones, unfolded."""
    folded = loose[: loose.size // 2].astype(int) | loose[loose.size // 2 :].astype(int) << 8
    return (folded >> 1) ^ -(folded & 1)


def coordinate(loose: np.ndarray) -> np.ndarray:
    """Running sums in which the next step is guessed from the four before it."""
    out: list[int] = []
    for at, miss in enumerate(misses(loose).tolist()):
        last = out[-1] if out else 0
        out.append((last + ((last - out[-5] + 2 >> 2) if at > 4 else 0) + miss) & 65_535)
    return np.array(out)


def test_points_come_back_where_they_were(field_map: FieldMap) -> None:
    """Truth: within half a step of 10 cm, the yield as printed, each reason by its name."""
    words = words_of(field_map)
    found = pointbytes.point_bytes(field_map, None, words)
    assert found is not None
    assert found["step"] == 0.1
    back = unpacked(found)
    points = field_map.points
    assert np.abs(back["easting"] - points.geometry.x).max() < 0.0511
    assert np.abs(back["northing"] - points.geometry.y).max() < 0.0511
    kept = (points["flag"] == "").to_numpy() & points["yield_kg_ha"].notna().to_numpy()
    assert (kept == (back["state"] == 0)).all()
    names = ("", *found["reasons"], "")
    assert [names[state] for state in back["state"]] == points["flag"].tolist()
    shown = points["yield_kg_ha"].to_numpy()[kept] * words.harvest.factor
    assert (np.round(back["shown"][kept]) == np.round(shown)).all()
    assert (np.digitize(back["shown"][kept], found["edges"]) == np.digitize(shown, found["edges"])).all()


def test_a_log_of_many_kilometres_takes_wider_steps(field_map: FieldMap) -> None:
    """20 km across: two bytes still hold a place, in steps of 31 cm."""
    points = field_map.points.copy()
    points.loc[0, "geometry"] = shapely.Point(points.geometry.x.max() + 20_000, points.geometry.y.min())
    wide = dataclasses.replace(field_map, points=points, outline=shapely.buffer(field_map.outline, 20_000))
    found = pointbytes.point_bytes(wide, None, words_of(field_map))
    assert found is not None
    assert 0.3 < found["step"] < 0.32
    assert np.abs(unpacked(found)["easting"] - points.geometry.x).max() < found["step"] * 0.51


def test_a_fix_far_away_spoils_no_other_place(field_map: FieldMap) -> None:
    """One record at 0, 0: it is left out and counted, the others keep their steps; with none near there is no layer."""
    points = field_map.points.copy()
    points.loc[7, "geometry"] = shapely.Point(0.0, 0.0)
    found = pointbytes.point_bytes(dataclasses.replace(field_map, points=points), None, words_of(field_map))
    assert found is not None
    assert (found["n"], found["away"], found["step"]) == (len(points) - 1, 1, 0.1)
    gone = points.set_geometry(points.translate(50_000, 0))
    assert pointbytes.point_bytes(dataclasses.replace(field_map, points=gone), None, words_of(field_map)) is None


def test_a_reason_nobody_knows_is_still_a_flag(field_map: FieldMap) -> None:
    """Not believed stays not believed."""
    points = field_map.points.copy()
    points.loc[5, "flag"] = "made-up reason"
    found = pointbytes.point_bytes(dataclasses.replace(field_map, points=points), None, words_of(field_map))
    assert found is not None
    assert found["reasons"][unpacked(found)["state"][5] - 1] == "another reason"


def test_a_long_log_is_thinned_and_says_so(field_map: FieldMap, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every third of 3,000 where 1,000 are drawn."""
    monkeypatch.setattr(pointbytes, "MOST_POINTS", 1000)
    found = pointbytes.point_bytes(field_map, None, words_of(field_map))
    assert found is not None
    assert (found["n"], found["every"]) == (1000, 3)


def test_a_log_without_yield_has_no_points_layer(field_map: FieldMap) -> None:
    """No yields, no points: nothing to colour."""
    for points in (field_map.points.iloc[:0], field_map.points.drop(columns="yield_kg_ha")):
        assert pointbytes.point_bytes(dataclasses.replace(field_map, points=points), None, words_of(field_map)) is None
