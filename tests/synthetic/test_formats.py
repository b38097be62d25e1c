"""Every format holds the log, and no trace of when it was written."""

from __future__ import annotations

import hashlib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from synthetic.plans import SMALL, layout

from lossmap.synthetic import make, write

FORMATS = ("csv", "geojson", "gpkg", "shp.zip", "parquet", "fgb")


@pytest.mark.parametrize("kind", FORMATS)
def test_writing_twice_gives_the_same_bytes(kind: str, tmp_path: Path) -> None:
    """No file carries the time at which it was written, in any format."""
    made = make(SMALL, 4)
    written = []
    for folder in (tmp_path / "one", tmp_path / "two"):
        write(made, folder / "made", layout(kind))
        written.append({path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted((folder / "made").iterdir())})
    assert written[0] == written[1]
    assert f"points.{kind}" in written[0]


@pytest.mark.parametrize("kind", FORMATS)
def test_files_hold_the_log(kind: str, tmp_path: Path) -> None:
    """Read back by a general-purpose library: same records in the same order, places within centimetres, units as stated."""
    made = make(SMALL, 4)
    write(made, tmp_path / "made", layout(kind))
    path = tmp_path / "made" / f"points.{kind}"
    readers = {"csv": pd.read_csv, "parquet": gpd.read_parquet}
    table = readers.get(kind, gpd.read_file)(path)
    assert len(table) == len(made.points)
    np.testing.assert_allclose(table["Mass flow"], made.points["mass_flow_kg_s"] / 0.45359237, atol=6e-4)
    np.testing.assert_allclose(table["Speed"], made.points["speed_m_s"] / 0.44704, atol=6e-4)
    places = gpd.points_from_xy(table["Longitude"], table["Latitude"], crs="EPSG:4326").to_crs(made.crs)
    assert (places.distance(made.points.geometry.array) < 0.02).all()
    if kind != "csv":
        assert (table.to_crs(made.crs).geometry.distance(made.points.geometry) < 0.02).all()
