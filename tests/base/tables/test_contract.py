"""What a contract refuses, in which words."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from lossmap.base.errors import TableError
from lossmap.base.tables import COUNTS, POINTS, Column, Contract

PEGS = Contract(
    "PEGS",
    "one peg",
    "Point",
    (
        Column("peg_id", "which peg", "text", gaps=False),
        Column("depth_m", "how deep", unit="m", least=0, most=2),
        Column("blows", "how many", "whole", least=0),
        Column("time", "when", "time", optional=True),
    ),
)


def _pegs(**columns: object) -> gpd.GeoDataFrame:
    """Three pegs in order, any column replaced; None takes it away."""
    table: dict[str, object] = {"peg_id": ["a", "b", "c"], "depth_m": [0.5, np.nan, 1.5], "blows": [1, 2, 3]}
    table |= columns
    kept = {name: values for name, values in table.items() if values is not None}
    return gpd.GeoDataFrame(kept, geometry=shapely.points([[0, 0], [1, 1], [2, 2]]), crs="EPSG:32615")


def test_a_table_in_order_comes_back_untouched() -> None:
    """The same object, nothing changed in it."""
    pegs = _pegs()
    before = pegs.copy()
    assert PEGS.check(pegs) is pegs
    pd.testing.assert_frame_equal(pegs, before)


@pytest.mark.parametrize(
    ("columns", "fault"),
    [
        ({"depth_m": None}, "depth_m is missing (how deep)"),
        ({"depth_m": ["1", "2", "3"]}, "depth_m is str, not a number column"),
        ({"depth_m": [1, 2, 3]}, "depth_m is int64, not a number column"),
        ({"blows": [1.0, 2.0, 3.0]}, "blows is float64, not a whole column"),
        ({"peg_id": ["a", None, "c"]}, "peg_id has 1 gaps, the first in row 1"),
        ({"depth_m": [0.5, 2.5, -1.0]}, "depth_m must lie between 0 and 2 m; 2 do not, the first in row 1 (2.5)"),
        ({"depth_m": [0.5, np.nan, np.inf]}, "depth_m must lie between 0 and 2 m; 1 do not, the first in row 2 (inf)"),
        ({"blows": [1, -2, 3]}, "blows must lie between 0 and inf; 1 do not, the first in row 1 (-2)"),
        ({"time": pd.to_datetime(["2025-10-01"] * 3)}, "time is datetime64[us], not a time column"),
    ],
)
def test_each_fault_in_exact_words(columns: dict[str, object], fault: str) -> None:
    """A missing, mistyped, incomplete or impossible column is named with what was found and where."""
    with pytest.raises(TableError) as refusal:
        PEGS.check(_pegs(**columns))
    assert str(refusal.value) == f"PEGS (one peg): {fault}"


def test_all_faults_stand_in_one_message() -> None:
    """Two wrong columns and a wrong geometry are one refusal."""
    pegs = _pegs(depth_m=[9.0, 1.0, 1.0], blows=None)
    pegs.geometry = [shapely.Point(0, 0), shapely.box(0, 0, 1, 1), shapely.Point(1, 1)]
    with pytest.raises(TableError) as refusal:
        PEGS.check(pegs)
    assert str(refusal.value) == (
        "PEGS (one peg): depth_m must lie between 0 and 2 m; 1 do not, the first in row 0 (9); "
        "blows is missing (how many); 1 rows are not a Point"
    )


def test_a_message_stays_short_on_a_long_table() -> None:
    """200,000 wrong rows are counted, not listed."""
    rows = 200_000
    pegs = gpd.GeoDataFrame(
        {"peg_id": ["a"] * rows, "depth_m": np.full(rows, 9.0), "blows": np.ones(rows, np.int64)},
        geometry=shapely.points(np.zeros((rows, 2))),
        crs="EPSG:32615",
    )
    with pytest.raises(TableError) as refusal:
        PEGS.check(pegs)
    assert len(str(refusal.value)) < 200


def test_geometry_and_crs_are_asked_for() -> None:
    """A plain table has no geometry; places without a CRS are nowhere."""
    with pytest.raises(TableError, match=r"^PEGS \(one peg\): has no geometry$"):
        PEGS.check(pd.DataFrame(_pegs().drop(columns="geometry")))  # type: ignore[arg-type]
    with pytest.raises(TableError, match=r"^PEGS \(one peg\): has no crs$"):
        PEGS.check(_pegs().set_crs(None, allow_override=True))


def test_an_empty_table_is_a_table() -> None:
    """No rows, but all columns: in order."""
    assert len(PEGS.check(_pegs().iloc[:0])) == 0


@pytest.mark.parametrize("contract", [POINTS, COUNTS], ids=["POINTS", "COUNTS"])
def test_a_table_without_columns_names_all_that_are_missing(contract: Contract) -> None:
    """Every column that is not optional is asked for at once."""
    bare = gpd.GeoDataFrame(geometry=shapely.points([[0, 0]]), crs="EPSG:32615")
    with pytest.raises(TableError) as refusal:
        contract.check(bare)
    for column in contract.columns:
        assert (f"{column.name} is missing" in str(refusal.value)) == (not column.optional)
