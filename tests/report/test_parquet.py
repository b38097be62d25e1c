"""points.parquet and cells.parquet read back."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd

from lossmap.base.field import FieldMap
from lossmap.base.tables import CELLS, POINTS
from lossmap.report.parquet import write_cells, write_points


def test_every_record_in_its_order_with_flag(field_map: FieldMap, tmp_path: Path) -> None:
    """Row for row what clean handed on, in the field's CRS, and still under contract."""
    write_points(field_map, tmp_path / "points.parquet")
    found = gpd.read_parquet(tmp_path / "points.parquet")
    POINTS.check(found)
    assert found.crs == field_map.crs
    assert found["flag"].tolist() == field_map.points["flag"].tolist()
    pd.testing.assert_series_equal(found["yield_kg_ha"], field_map.points["yield_kg_ha"])
    assert (found.geometry.to_numpy() == field_map.points.geometry.to_numpy()).all()


def test_cells_keep_their_contract(field_map: FieldMap, tmp_path: Path) -> None:
    """The joined cells, columns in the contract's order."""
    write_cells(field_map, tmp_path / "cells.parquet")
    found = gpd.read_parquet(tmp_path / "cells.parquet")
    CELLS.check(found)
    assert list(found.columns)[:5] == ["row", "col", "loss_kg_ha", "loss_low_kg_ha", "loss_high_kg_ha"]
    assert len(found) == len(field_map.cells)
