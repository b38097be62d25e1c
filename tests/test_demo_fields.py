"""The demo fields are what their maker makes, small enough to carry, and read as they were meant."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path
from types import ModuleType

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from lossmap.read import read_counts, read_farm, read_field, read_points
from lossmap.synthetic import MadeField

DEMO_FIELDS = Path(__file__).resolve().parents[1] / "demo-fields"
BINARY = {".parquet", ".gpkg", ".fgb", ".zip"}
NAMES = ("gravel-eighty", "pond-piece", "crooked-forty", "far-bench", "mill-strip")


def _maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("demo_fields_make", DEMO_FIELDS / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclasses look their own module up
    spec.loader.exec_module(module)
    return module


MAKER = _maker()


@pytest.fixture(scope="module")
def remade(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, MadeField]]:
    """All demo fields written anew, aside."""
    folder = tmp_path_factory.mktemp("remade")
    return folder, MAKER.remake(folder)


def test_the_folders_are_the_ones_made() -> None:
    """No demo field without its plan, no plan without its folder."""
    folders = {path.name for path in DEMO_FIELDS.iterdir() if (path / "field.toml").exists()}
    assert folders == set(MAKER.DEMOS) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_remade_byte_for_byte(name: str, remade: tuple[Path, dict[str, MadeField]]) -> None:
    """Every file is what make.py writes; binary ones where the libraries that mark them are of the same version."""
    same_versions = json.loads((DEMO_FIELDS / "made-with.json").read_text()) == MAKER.versions()
    kept = sorted(path.name for path in (DEMO_FIELDS / name).iterdir())
    assert kept == sorted(path.name for path in (remade[0] / name).iterdir())
    for file in kept:
        one, two = DEMO_FIELDS / name / file, remade[0] / name / file
        if one.suffix not in BINARY or same_versions:
            assert one.read_bytes() == two.read_bytes(), file
        else:
            _assert_same_table(one, two)


def _assert_same_table(one: Path, two: Path) -> None:
    read = gpd.read_parquet if one.suffix == ".parquet" else gpd.read_file
    pd.testing.assert_frame_equal(read(one), read(two))


def test_readme_tells_the_truth(remade: tuple[Path, dict[str, MadeField]]) -> None:
    """The table in README.md is the one the maker writes from the truth."""
    text = (DEMO_FIELDS / "README.md").read_text(encoding="utf-8")
    assert f"{MAKER.START}\n{MAKER.truth_table(remade[1])}\n{MAKER.END}" in text


def test_small_enough_to_carry() -> None:
    """At most 600 kB a field, 3 MB in all, 2,500 to 8,000 records each."""
    sizes = {name: sum(path.stat().st_size for path in (DEMO_FIELDS / name).iterdir()) for name in NAMES}
    assert max(sizes.values()) < 600_000
    assert sum(sizes.values()) < 3_000_000


@pytest.mark.parametrize("name", NAMES)
def test_read_as_meant(name: str, remade: tuple[Path, dict[str, MadeField]]) -> None:
    """The reader gives the log and the counts that were made back: same records, columns and units."""
    made = remade[1][name]
    field = read_field(DEMO_FIELDS / name)
    points = read_points(field).table.to_crs(made.crs)
    assert 2_500 <= len(points) == len(made.points) <= 8_000
    assert points.geometry.distance(made.points.geometry).max() < 0.02
    for column, tolerance in (("mass_flow_kg_s", 6e-4), ("moisture_pct", 0.051), ("speed_m_s", 3e-4), ("width_m", 1e-3)):
        if column in points:
            np.testing.assert_allclose(points[column], made.points[column], atol=tolerance)
    counts = read_counts(field)
    for column in ("seeds", "grams", "ears", "frame_m2", "frames"):
        np.testing.assert_allclose(counts[column], made.counts[column], rtol=2e-3)
    assert counts["position"].tolist() == made.counts["position"].tolist()


def test_every_format_and_flaw_is_there() -> None:
    """Five crops, five formats, one field each that is one way, holed, weighed, in ears, and counted at one position."""
    plans = [demo.plan for demo in MAKER.DEMOS.values()]
    assert len({plan.crop for plan in plans}) == len({demo.layout.points for demo in MAKER.DEMOS.values()}) == 5
    assert sum(not plan.two_ways for plan in plans) == 1
    assert sum(plan.outline == "holed" for plan in plans) == 1
    assert sum(plan.weighed for plan in plans) == 1
    assert sum(plan.ears > 0 for plan in plans) == 1
    assert sum(plan.positions == ("behind_combine",) for plan in plans) == 1


def test_the_farm_is_the_one_made(tmp_path: Path) -> None:
    """Every file of the made farm is what make.py writes, and reads as it was meant."""
    made = MAKER.remake_farm(tmp_path)
    kept = sorted(path.name for path in (DEMO_FIELDS / "made-farm").iterdir())
    assert kept == ["farm.toml", "history.csv", "readings.csv", "weather.csv"]
    for file in kept:
        assert (DEMO_FIELDS / "made-farm" / file).read_bytes() == (tmp_path / "made-farm" / file).read_bytes(), file
    farm = read_farm(DEMO_FIELDS / "made-farm")
    assert [field.name for field in farm.fields] == [field.name for field in made.farm.fields]
    assert [field.readings for field in farm.fields] == [field.readings for field in made.farm.fields]
    np.testing.assert_allclose([field.area_ha for field in farm.fields], [field.area_ha for field in made.farm.fields], rtol=0.02)
    assert farm.money["corn"].price_usd_kg == pytest.approx(made.farm.money["corn"].price_usd_kg)
