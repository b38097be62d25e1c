"""The log's points as bytes."""

from __future__ import annotations

import base64
import dataclasses
import zlib

import numpy as np
import pytest

from lossmap.base.field import FieldMap
from lossmap.report import pointbytes
from lossmap.report.numbers import words_of


def unpacked(found: dict[str, object]) -> dict[str, np.ndarray]:
    """What the page's script makes of it."""
    loose = np.frombuffer(zlib.decompress(base64.b64decode(str(found["packed"])), -15), dtype=np.uint8)
    n = int(str(found["n"]))
    words = [
        np.cumsum((loose[2 * k * n : (2 * k + 1) * n].astype(np.uint16) << 8) + loose[(2 * k + 1) * n : (2 * k + 2) * n], dtype=np.uint16)
        for k in (0, 1)
    ]
    code, flag = (np.cumsum(loose[at * n : (at + 1) * n], dtype=np.uint8) for at in (4, 5))
    easting = found["west"] + words[0] / 65_535 * found["width"]
    northing = found["south"] + words[1] / 65_535 * found["height"]
    return {"easting": easting, "northing": northing, "code": code, "flag": flag}


def test_points_come_back_where_they_were(field_map: FieldMap) -> None:
    """Truth: within a centimetre, yield within half a step, each reason by its name."""
    found = pointbytes.point_bytes(field_map, None, words_of(field_map))
    assert found is not None
    back = unpacked(found)
    points = field_map.points
    assert np.abs(back["easting"] - points.geometry.x).max() < 0.01
    assert np.abs(back["northing"] - points.geometry.y).max() < 0.01
    assert [("", *found["reasons"])[flag] for flag in back["flag"]] == points["flag"].tolist()
    kept = (points["flag"] == "").to_numpy() & points["yield_kg_ha"].notna().to_numpy()
    assert (back["code"][~kept] == 255).all()
    read = found["start"] + found["step"] * back["code"][kept]
    assert np.abs(read - points["yield_kg_ha"][kept]).max() <= 0.501 * found["step"]


def test_a_reason_nobody_knows_is_still_a_flag(field_map: FieldMap) -> None:
    """Not believed stays not believed."""
    points = field_map.points.copy()
    points.loc[5, "flag"] = "made-up reason"
    found = pointbytes.point_bytes(dataclasses.replace(field_map, points=points), None, words_of(field_map))
    assert found is not None
    assert found["reasons"][unpacked(found)["flag"][5] - 1] == "another reason"


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
