"""The map page's weight, so that a whole log and its layers stay small enough for a mail."""

from __future__ import annotations

import contextlib

import pytest

from lossmap.base.field import FieldMap
from lossmap.base.settings import Settings
from lossmap.pipelines.map_field import made_map
from lossmap.read import read_field
from lossmap.report.map.layers import layers_of
from lossmap.report.map.pointbytes import point_bytes
from lossmap.report.map.webmap import packed_cells, webmap
from lossmap.report.numbers import words_of
from lossmap.report.projection import web_place
from lossmap.synthetic import FieldPlan, make, write

# Signs of base64 a point and a cell of the page may take, and all else in the page of a field of 20 ha [bytes]. What grows with a
# field beside them are pictures and outlines of zones: `shared/expected/pages.md` has 0.44 and 0.65 MB of such rest at 80,000 and
# 318,000 points, so that these budgets leave 0.74 and 1.83 MB of the 1 and 2 MB that a page may weigh.
POINT, CELL, REST = 1.9, 2.7, 330_000


@pytest.fixture(scope="module")
def driven(tmp_path_factory: pytest.TempPathFactory) -> FieldMap:
    """A made field of 12,000 points with a receiver's jitter, sensors' noise and counted stops, mapped from its files."""
    folder = tmp_path_factory.mktemp("driven")
    write(make(FieldPlan(length_m=620.0, breadth_m=330.0, stops=24, design="spread", speed_effect=1.49), 1), folder)
    return made_map(read_field(folder), Settings(), lambda name: contextlib.nullcontext())


def test_a_point_and_a_cell_stay_small(driven: FieldMap) -> None:
    """Law: packed bytes a point and a cell of a driven field, and all the rest of its page, are within their budget."""
    words = words_of(driven)
    drawn = layers_of(driven, web_place(driven.outline, driven.crs), words)
    assert drawn is not None
    points = point_bytes(driven, drawn, words)
    assert points is not None
    assert points["n"] > 10_000
    assert len(points["packed"]) < POINT * points["n"]
    cells = packed_cells(drawn)
    assert len(cells) < CELL * len(driven.cells)
    assert len(webmap(driven).encode()) - len(points["packed"]) - len(cells) < REST
