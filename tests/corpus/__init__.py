"""Damaged, hostile and odd files, and how lossmap must take each: ``python tests/bad_input.py`` counts how they ended.

Each case says what is expected of it: a right answer and what must stand in it, or an exit
code of the contract and what the message must say. "Anything but a crash" is no expectation.
"""

from __future__ import annotations

from collections.abc import Iterator

from . import boundaries, counts, csv_logs, facts, farms, geojson, geopackage, huge, parquet, places, shapefiles, taskdata, vectors
from .cases import Case

__all__ = ["CASES", "Case"]


def _all() -> Iterator[Case]:
    of_points = (csv_logs, vectors, geojson, geopackage, shapefiles, parquet, taskdata)
    for module in (*of_points, counts, boundaries, facts, places, farms, huge):
        yield from module.cases()


CASES: dict[str, Case] = {}
for _case in _all():
    assert _case.id not in CASES, _case.id
    CASES[_case.id] = _case
