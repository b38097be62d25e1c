"""The command on the demo fields finds what is there, and says so where it cannot (`shared/expected/demo-fields.json`)."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio

import expected_numbers
from lossmap.base.tables import SOURCES
from lossmap.pipelines.command import main
from lossmap.synthetic import MadeField, make

ROOT = Path(__file__).resolve().parents[1]
EXPECTED: dict[str, dict[str, Any]] = json.loads((ROOT / "shared" / "expected" / "demo-fields.json").read_text(encoding="utf-8"))["fields"]
FILES = {
    "points.parquet",
    "stops.geojson",
    "surfaces.tif",
    "cells.parquet",
    "zones.geojson",
    "map.html",
    "report.html",
    "summary.json",
    "evidence.json",
    "run.toml",
}
BANDS = ("loss_kg_ha", "loss_low_kg_ha", "loss_high_kg_ha", "yield_kg_ha", "speed_m_s", "moisture_pct")


def _maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("demo_fields_make_for_flow", ROOT / "demo-fields" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclasses look their own module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def made() -> Callable[[str], MadeField]:
    """A demo field with its truth."""
    demos, known = _maker().DEMOS, {}

    def one(name: str) -> MadeField:
        if name not in known:
            known[name] = make(demos[name].plan, demos[name].rng_seed)
        return known[name]

    return one


@pytest.fixture(scope="module")
def mapped(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """The folder of results of one demo field, mapped once with the given settings."""
    done: dict[tuple[str, ...], Path] = {}

    def one(name: str, *settings: str) -> Path:
        if (name, *settings) not in done:
            out = tmp_path_factory.mktemp("out")
            chosen = [part for setting in settings for part in ("--set", setting)]
            assert main(["map", str(ROOT / "demo-fields" / name), "--out", str(out), "--quiet", *chosen]) == 0
            done[(name, *settings)] = out / name
        return done[(name, *settings)]

    return one


def _summary(folder: Path) -> dict[str, Any]:
    return dict(json.loads((folder / "summary.json").read_text(encoding="utf-8")))


def test_expected_truth_is_the_maker_s(made: Callable[[str], MadeField]) -> None:
    """What stands as true in the expected results is the truth of the made fields."""
    assert set(EXPECTED) == set(_maker().DEMOS)
    for name, expected in EXPECTED.items():
        field = made(name)
        assert expected["area_ha"]["true"] == pytest.approx(field.boundary.area / 10_000, abs=0.006)
        assert expected["yield_kg_ha"]["true"] == pytest.approx(np.nanmean(field.truth.surfaces["yield_kg_ha"].mean), abs=0.6)
        for source, loss in expected["loss_kg_ha"].items():
            assert loss["true"] == pytest.approx(field.truth.mean_kg_ha[source], abs=0.06), (name, source)
        shares = {driver: share for driver, share in field.truth.share_kg_ha.items() if share}
        assert expected["share_kg_ha"] == pytest.approx(shares, abs=0.06)


@pytest.mark.parametrize("name", EXPECTED)
def test_every_file_is_written(name: str, mapped: Callable[..., Path]) -> None:
    """The contract's files, none empty, nothing beside them."""
    written = {path.name: path.stat().st_size for path in mapped(name).iterdir()}
    assert set(written) == FILES
    assert min(written.values()) > 0


@pytest.mark.parametrize("name", EXPECTED)
def test_no_record_is_lost(name: str, mapped: Callable[..., Path]) -> None:
    """Every record comes out in its order, believed or with a reason, and the reasons add up."""
    expected, points = EXPECTED[name], _summary(mapped(name))["points"]
    table = gpd.read_parquet(mapped(name) / "points.parquet")
    assert len(table) == points["read"] == expected["points_read"]
    assert int((table["flag"] == "").sum()) == points["kept"]
    assert points["kept"] + sum(points["flags"].values()) == points["read"]


@pytest.mark.parametrize("name", EXPECTED)
def test_planted_flaws_are_flagged(name: str, mapped: Callable[..., Path]) -> None:
    """Reasons occur as often as planted, and the share that is kept is the usual one."""
    expected, points = EXPECTED[name], _summary(mapped(name))["points"]
    low, high = expected["kept_pct"]
    assert low <= 100 * points["kept"] / points["read"] <= high
    for reason, (least, most) in expected["flags"].items():
        assert least <= points["flags"].get(reason, 0) <= most, reason


@pytest.mark.parametrize("name", EXPECTED)
def test_area_and_yield(name: str, mapped: Callable[..., Path]) -> None:
    """Area, with or without a boundary, and mean yield after cleaning are the field's."""
    expected, found = EXPECTED[name], _summary(mapped(name))
    for figure in ("area_ha", "yield_kg_ha"):
        assert found[figure] == pytest.approx(expected[figure]["true"], rel=expected[figure]["within_pct"] / 100), figure


LOSSES = [(name, source) for name in EXPECTED for source in ("total", *SOURCES)]


@pytest.mark.parametrize(("name", "source"), LOSSES)
def test_loss_by_source(name: str, source: str, mapped: Callable[..., Path]) -> None:
    """What the counts can tell lies in its interval; what they cannot is not invented."""
    expected, found = EXPECTED[name]["loss_kg_ha"][source], _summary(mapped(name))["loss"][source]
    if not expected["told"]:
        assert found["mean_kg_ha"] is found["low_kg_ha"] is found["high_kg_ha"] is None
        return
    assert found["low_kg_ha"] <= expected["true"] <= found["high_kg_ha"]
    assert found["low_kg_ha"] <= found["mean_kg_ha"] <= found["high_kg_ha"]
    if source == "total":
        assert found["mean_kg_ha"] == pytest.approx(expected["true"], rel=EXPECTED[name]["total_within_pct"] / 100)


@pytest.mark.parametrize("name", EXPECTED)
@pytest.mark.parametrize("driver", ["speed", "dryness"])
def test_verdicts(name: str, driver: str, mapped: Callable[..., Path]) -> None:
    """A strong effect with enough stops tracks, its share in the interval; nothing else does."""
    found = _summary(mapped(name))["drivers"][driver]
    assert found["verdict"] in EXPECTED[name]["verdicts"][driver]
    if found["verdict"] == "tracks":
        assert found["share_low_kg_ha"] <= EXPECTED[name]["share_kg_ha"][driver] <= found["share_high_kg_ha"]


@pytest.mark.parametrize("name", EXPECTED)
def test_zones(name: str, mapped: Callable[..., Path]) -> None:
    """Zones only where a driver tracks, for its reason, inside the field."""
    expected, zones = EXPECTED[name], gpd.read_file(mapped(name) / "zones.geojson")
    least, most = expected["zones"]
    assert least <= len(zones) <= most
    assert _summary(mapped(name))["zones"] == len(zones)
    if len(zones):
        assert set(zones["reason"]) == set(expected["zone_reasons"])
        assert zones["area_ha"].sum() < expected["area_ha"]["true"]


@pytest.mark.parametrize(("name", "layer", "least"), [("gravel-eighty", "speed_m_s", 2.4), ("pond-piece", "moisture_pct", 13.0)])
def test_zones_lie_where_the_driver_is(
    name: str, layer: str, least: float, mapped: Callable[..., Path], made: Callable[[str], MadeField]
) -> None:
    """By the truth, zones for speed were cut fast, and zones for dryness dry."""
    surface = made(name).truth.surfaces[layer]
    zones = gpd.read_file(mapped(name) / "zones.geojson").to_crs(made(name).crs)
    inside = surface.grid.inside(zones.geometry.union_all())
    middle = float(np.nanmedian(surface.mean[inside]))
    assert middle > least if layer == "speed_m_s" else middle < least


@pytest.mark.parametrize("name", EXPECTED)
def test_surfaces_have_their_bands(name: str, mapped: Callable[..., Path]) -> None:
    """The contract's bands first, in metres, the interval around the value in every cell."""
    with rasterio.open(mapped(name) / "surfaces.tif") as raster:
        assert raster.descriptions[: len(BANDS)] == BANDS
        assert raster.crs.is_projected
        loss, low, high = raster.read([1, 2, 3])
    known = np.isfinite(loss)
    assert known.any()
    assert (low[known] <= loss[known] + 1e-3).all()
    assert (loss[known] <= high[known] + 1e-3).all()
    assert EXPECTED[name]["loss_surface"] in _summary(mapped(name))["loss_surface"]


@pytest.mark.parametrize("name", ["gravel-eighty", "pond-piece"])
def test_the_loss_surface_beats_the_mean(name: str, mapped: Callable[..., Path], made: Callable[[str], MadeField]) -> None:
    """Where a driver tracks, the map is nearer to the truth than its own mean drawn flat over the field."""
    truth = made(name).truth.surfaces["total_kg_ha"]
    with rasterio.open(mapped(name) / "surfaces.tif") as raster:
        east, north = np.meshgrid(*truth.grid.centres())
        found = np.array([value[0] for value in raster.sample(zip(east.ravel(), north.ravel(), strict=True))]).reshape(truth.grid.shape)
    known = np.isfinite(found) & np.isfinite(truth.mean)
    error = np.sqrt(np.mean((found - truth.mean)[known] ** 2))
    flat = np.sqrt(np.mean((np.mean(found[known]) - truth.mean[known]) ** 2))
    assert error < 0.95 * flat


@pytest.mark.parametrize("name", EXPECTED)
def test_stops_come_out_where_they_were(name: str, mapped: Callable[..., Path], made: Callable[[str], MadeField]) -> None:
    """One feature a stop, at the place where it was counted."""
    stops = gpd.read_file(mapped(name) / "stops.geojson").to_crs(made(name).crs)
    counted = made(name).counts.drop_duplicates("stop_id").set_index("stop_id").loc[stops["stop_id"]]
    assert len(stops) == EXPECTED[name]["stops"]
    assert stops.geometry.distance(counted.geometry.to_crs(stops.crs), align=False).max() < 0.05


@pytest.mark.parametrize("name", EXPECTED)
def test_stops_have_the_speed_of_their_own_pass(name: str, mapped: Callable[..., Path], made: Callable[[str], MadeField]) -> None:
    """At nine stops in ten the speed is that at which they were cut, to half of what it varies; one by an edge may get its neighbour's."""
    stops = gpd.read_file(mapped(name) / "stops.geojson")
    truth = made(name).truth.stops.set_index("stop_id").loc[stops["stop_id"], "speed_m_s"]
    wrong = stops["speed_m_s"].to_numpy() - truth.to_numpy()
    assert np.mean(np.abs(wrong) < 0.5 * truth.std()) >= 0.9


DELAYS = [(name, sensor) for name, expected in EXPECTED.items() for sensor in expected["delay"]]


@pytest.mark.parametrize(("name", "sensor"), DELAYS)
def test_planted_delays_are_found(name: str, sensor: str, mapped: Callable[..., Path]) -> None:
    """A late sensor is found out by the passes' opposite directions, and where there are none it is said."""
    expected, found = EXPECTED[name]["delay"][sensor], _summary(mapped(name))["delay"][sensor]
    if expected is None:
        assert not found["applied"]
        assert "not identifiable" in found["note"]
        return
    assert found["applied"]
    assert found["mean_s"] == pytest.approx(expected["true"], abs=expected["within_s"])


def test_a_delay_that_is_set_mends_yield(mapped: Callable[..., Path], made: Callable[[str], MadeField]) -> None:
    """With its 10 s taken off, yield along the passes of far-bench follows the true one better than without."""
    truth, follows = made("far-bench").truth.records["yield_kg_ha"].to_numpy(), []
    for seconds in (0, 10):
        table = gpd.read_parquet(mapped("far-bench", f'clean.flow_delay="{seconds} s"') / "points.parquet")
        believed = (table["flag"] == "").to_numpy()
        follows.append(np.corrcoef(table["yield_kg_ha"][believed], truth[believed])[0, 1])
    assert follows[1] > follows[0] + 0.05


@pytest.mark.parametrize("name", EXPECTED)
def test_no_number_has_changed(name: str, mapped: Callable[..., Path]) -> None:
    """Every number and verdict of the summary is what the version before said, within the tolerance of `expected_numbers`."""
    before = json.loads(expected_numbers.FILE.read_text(encoding="utf-8"))[name]
    assert expected_numbers.differences(before, dict(expected_numbers.numbers(_summary(mapped(name))))) == []


def test_no_number_of_the_order_of_harvest_has_changed(tmp_path: Path) -> None:
    """The same of the made farm's ranking."""
    assert main([*expected_numbers.FARM, "--out", str(tmp_path), "--quiet"]) == 0
    before = json.loads(expected_numbers.FILE.read_text(encoding="utf-8"))["made-farm"]
    assert expected_numbers.differences(before, dict(expected_numbers.numbers(_summary(tmp_path / "made-farm")))) == []


def test_a_changed_number_is_seen() -> None:
    """A share of a hundredth, a lost verdict and a missing number are differences; a last digit and a new number are none."""
    before = {"loss.total": 250.0, "drivers.speed.verdict": "tracks", "gone": 1.0, "p": None}
    assert expected_numbers.differences(before, {**before, "loss.total": 250.1, "more": 3.0}) == []
    now = {"loss.total": 252.5, "drivers.speed.verdict": "no sign", "p": 0.5}
    assert [line.partition(":")[0] for line in expected_numbers.differences(before, now)] == list(before)


def test_as_a_person_runs_it(tmp_path: Path, mapped: Callable[..., Path]) -> None:
    """The command in a process of its own: exit code 0, one line on stdout, the same bytes as before in every file of data."""
    asked = [sys.executable, "-m", "lossmap.pipelines", "map", "demo-fields/mill-strip", "--out", str(tmp_path)]
    ran = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    assert len(ran.stdout.splitlines()) == 1
    assert "loss" in ran.stdout
    for file in sorted(FILES - {"run.toml"}):
        assert (tmp_path / "mill-strip" / file).read_bytes() == (mapped("mill-strip") / file).read_bytes(), file
