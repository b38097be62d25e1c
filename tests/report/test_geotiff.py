"""surfaces.tif as any GIS reads it."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import rasterio

from lossmap.base.field import FieldMap
from lossmap.report.geotiff import BANDS, write_surfaces


def test_bands_place_and_values(field_map: FieldMap, tmp_path: Path) -> None:
    """A COG in the field's CRS whose first six bands are the contract's, values unchanged, NaN outside."""
    write_surfaces(field_map, tmp_path / "surfaces.tif")
    with rasterio.open(tmp_path / "surfaces.tif") as found:
        assert found.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert found.descriptions[:6] == ("loss_kg_ha", "loss_low_kg_ha", "loss_high_kg_ha", "yield_kg_ha", "speed_m_s", "moisture_pct")
        assert found.descriptions == tuple(name for name, _, _ in BANDS)
        assert found.units[:6] == ("kg/ha", "kg/ha", "kg/ha", "kg/ha", "m/s", "%")
        assert set(found.dtypes) == {"float32"}
        assert np.isnan(found.nodata)
        assert found.crs.to_epsg() == 32615
        assert (found.transform.c, found.transform.f, found.transform.a) == (431_000.0, 4_640_400.0, 5.0)
        np.testing.assert_array_equal(found.read(1), field_map.surfaces["loss_kg_ha"].mean)
        np.testing.assert_array_equal(found.read(3), field_map.surfaces["loss_kg_ha"].high)
        np.testing.assert_array_equal(found.read(6), field_map.surfaces["moisture_pct"].mean)


def test_a_missing_surface_is_a_band_of_nan(field_map: FieldMap, tmp_path: Path) -> None:
    """Scripts find the same bands in every field."""
    surfaces = {name: surface for name, surface in field_map.surfaces.items() if name != "moisture_pct"}
    write_surfaces(dataclasses.replace(field_map, surfaces=surfaces), tmp_path / "surfaces.tif")
    with rasterio.open(tmp_path / "surfaces.tif") as found:
        assert found.count == len(BANDS)
        assert np.isnan(found.read(6)).all()
        assert np.isfinite(found.read(1)).any()


def test_a_field_without_surfaces_still_has_its_file(field_map: FieldMap, tmp_path: Path) -> None:
    """One empty cell at the outline's corner."""
    write_surfaces(dataclasses.replace(field_map, surfaces={}), tmp_path / "surfaces.tif")
    with rasterio.open(tmp_path / "surfaces.tif") as found:
        assert found.shape == (1, 1)
        assert np.isnan(found.read()).all()
