"""A made field to make pages of: invented land, invented numbers, known everywhere."""

from __future__ import annotations

import dataclasses
import datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from lossmap.base import reference
from lossmap.base.estimates import Delay, Driver, EffectCurve, Estimate
from lossmap.base.field import Cleaning, Field, FieldFacts, FieldMap
from lossmap.base.grid import Grid, Surface
from lossmap.base.logloss import Typical
from lossmap.base.season import DriverEvidence
from lossmap.base.settings import Settings, build
from lossmap.base.tables import PLAN
from lossmap.report import StopsPlan

__all__ = ["HOSTILE", "made_field_map", "made_hostile", "made_plan"]

CRS = pyproj.CRS.from_epsg(32615)
WEST, NORTH = 431_000.0, 4_640_400.0
OUTLINE = shapely.Polygon(
    [
        (WEST + 8, NORTH - 392),
        (WEST + 594, NORTH - 380),
        (WEST + 590, NORTH - 12),
        (WEST + 330, NORTH - 8),
        (WEST + 300, NORTH - 70),
        (WEST + 12, NORTH - 60),
    ]
)
HOSTILE = "<script>window.hit=1</script>{{7*7}} {% x ${1+1} \"q\" 'a' & =1+1 <img src=x onerror=window.hit=1>"


def made_plan(field_map: FieldMap, **more: Any) -> StopsPlan:
    """Three stops in the made field of these tests."""
    stops = gpd.GeoDataFrame(
        {
            "stop": ["P4", "P5", "P6"],
            "rank": [1, 2, 3],
            "reason": ["speed", "dryness", "place"],
            "part": ["north-east", "middle", "south"],
            "nearest_m": [125.0, 40.4, 81.2],
            "frames": [4, 4, 1],
            "speed_m_s": [2.6, 1.8, np.nan],
            "speed_rank_pct": [95.0, 50.0, np.nan],
            "moisture_pct": [16.2, 14.9, 16.0],
            "moisture_rank_pct": [50.0, 4.0, 52.0],
        },
        geometry=shapely.points([[431_100.5, 4_640_100.25], [431_200.0, 4_640_200.0], [431_300.0, 4_640_050.0]]),
        crs=field_map.crs,
    )
    values = {
        "counted": 12,
        "needed": {"speed": 14, "dryness": None},
        "most_needed": 100,
        "is_fitted": True,
        "notes": ("a note",),
        "outline": field_map.outline,
        "seed_mass_g": field_map.seed_mass_g,
        "clumping": 0.25,
        **more,
    }
    return StopsPlan(field_map.field, field_map.settings, PLAN.check(stops), ("place", "speed", "dryness"), **values)


def made_field_map(cells: tuple[int, int] = (80, 120), points: int = 3000, cell_m: float = 5.0) -> FieldMap:
    """A made field; larger ones for size budgets keep its shape."""
    grid = Grid(CRS, WEST, NORTH, cell_m, *cells)
    stretch = (cells[1] * cell_m / 600, cells[0] * cell_m / 400)
    outline = shapely.affinity.scale(OUTLINE, *stretch, origin=(WEST, NORTH))
    surfaces = made_surfaces(grid, outline)
    cells_table = made_cells(surfaces, grid)
    settings = build(Settings, {"report": {"price": "4.20 USD/bu"}, "clean": {"turn": "50 deg"}}, "made.toml")
    table = made_points(points, grid, outline)
    flags = table["flag"].value_counts()
    return FieldMap(
        field=made_field(),
        settings=settings,
        crs=CRS,
        outline=outline,
        outline_given=True,
        points=table,
        cleaning=Cleaning(
            len(table),
            int(flags[""]),
            {name: int(flags[name]) for name in ("pass start", "pass end", "speed change") if name in flags},
            24.9,
            22.7,
            {"mean": 10_400.0, "median": 11_000.0, "sd": 2600.0, "cv_pct": 25.0, "skewness": -1.4}
            | made_roughness(900.0, 700.0, 2700.0, 262_000.0),
            {"mean": 11_050.0, "median": 11_100.0, "sd": 1300.0, "cv_pct": 11.8, "skewness": -0.2}
            | made_roughness(420.0, 310.0, 1350.0, 248_000.0),
            Delay(0.4, -0.6, 1.4, False, "flow had been shifted by the logger", made_curve(0.4)),
            Delay(11.0, 9.2, 12.8, True, "moisture read late", made_curve(11.0)),
            ("The log holds no distance, so it was taken from positions.",),
            21.9,
            1.8,
            {"red": Estimate(1.04, 1.02, 1.06), "blue": Estimate(0.97, 0.95, 0.99)},
        ),
        losses=made_losses(surfaces, grid),
        loss={
            "total": Estimate(118.0, 88.0, 151.0),
            "preharvest": Estimate(14.0, 6.0, 24.0),
            "header": Estimate(71.0, 48.0, 97.0),
            "threshing": Estimate(33.0, 18.0, 51.0),
        },
        loss_of_yield_pct={
            "total": Estimate(1.06, 0.79, 1.35),
            "preharvest": Estimate(0.13, 0.05, 0.22),
            "header": Estimate(0.64, 0.43, 0.87),
            "threshing": Estimate(0.30, 0.16, 0.46),
        },
        seed_mass_g=Estimate(290.0, 276.0, 304.0),
        yield_kg_ha=11_050.0,
        surfaces=surfaces,
        cells=cells_table,
        drivers=made_drivers(),
        zones=made_zones(),
        typical=Typical(0.45, 80.0, 3.0),
        notes=("Made field: nothing in it was ever grown.",),
        curves={"speed": made_effect(np.linspace(1.2, 2.6, 41), 1.8, 1), "dryness": made_effect(np.linspace(14.0, 18.0, 41), 16.0, -1)},
        posteriors=made_posteriors(),
        inputs={"points.csv": "a" * 64, "counts.csv": "b" * 64, "field.toml": "c" * 64},
    )


def made_roughness(first_lag: float, nugget: float, sill: float, mass_kg: float) -> dict[str, float]:
    """Semivariances of yield by their square roots [kg/ha], and grain together."""
    return {"first_lag": first_lag**2, "nugget": nugget**2, "sill": sill**2, "mass_kg": mass_kg}


def made_curve(best_s: float) -> tuple[tuple[float, float], ...]:
    """A parabola with its least at `best_s`, 1 at no delay."""
    return tuple((seconds, round((50 + (seconds - best_s) ** 2) / (50 + best_s**2), 4)) for seconds in np.arange(-15.0, 30.5, 0.5).tolist())


def made_field() -> Field:
    """Its facts, in a scenario of our own."""
    facts = FieldFacts.model_validate(
        {
            "name": "Made field, north half",
            "crop": "corn",
            "harvested_on": datetime.date(2025, 10, 18),
            "header_width": "30 ft",
            "machine": "red",
            "points": [{"path": "points.csv"}],
            "counts": [{"path": "counts.csv"}],
        }
    )
    return Field(Path("made-north"), facts, reference.crop("corn"))


def made_surfaces(grid: Grid, outline: shapely.Geometry) -> dict[str, Surface]:
    """Smooth layers whose value at any place is a formula of the place."""
    easting, northing = grid.centres()
    east, north = np.meshgrid((easting - WEST) / (grid.cols * grid.cell_m), (NORTH - northing) / (grid.rows * grid.cell_m))
    inside = grid.inside(outline)
    speed = 1.7 + 0.5 * np.sin(6 * east) + 0.3 * (north > 0.55)
    moisture = 17.5 - 3.0 * east + 0.6 * np.cos(9 * north)
    harvest = 11_000 + 1300 * np.sin(5 * east + 3 * north)
    loss = 70 * np.exp(0.8 * (speed - 1.7)) * np.exp(0.12 * (17 - moisture))
    doubt = 1.25 + 2.4 * np.hypot(east - 0.4, north - 0.5) ** 2
    layers = {
        "loss_kg_ha": (loss, loss / doubt, loss * doubt, "kg/ha", "negative-binomial surface of 12 stops"),
        "yield_kg_ha": (harvest, harvest - 400, harvest + 400, "kg/ha", "smoothed points"),
        "speed_m_s": (speed, speed - 0.1, speed + 0.1, "m/s", "smoothed points"),
        "moisture_pct": (moisture, moisture - 0.3, moisture + 0.3, "%", "smoothed points"),
    }
    surfaces = {}
    for name, (mean, low, high, unit, note) in layers.items():
        mean, low, high = (np.where(inside, part, np.nan).astype(np.float32) for part in (mean, low, high))
        surfaces[name] = Surface(name, unit, grid, mean, low, high, note)
    return surfaces


def made_cells(surfaces: dict[str, Surface], grid: Grid) -> gpd.GeoDataFrame:
    """CELLS of the surfaces."""
    row, col = np.nonzero(np.isfinite(surfaces["loss_kg_ha"].mean))
    easting, northing = grid.centres()
    loss = surfaces["loss_kg_ha"]
    columns: dict[str, Any] = {"row": row.astype(np.int64), "col": col.astype(np.int64)}
    columns |= {
        name: part[row, col].astype(float)
        for name, part in zip(("loss_kg_ha", "loss_low_kg_ha", "loss_high_kg_ha"), (loss.mean, loss.low, loss.high), strict=True)
    }
    columns |= {name: surfaces[name].mean[row, col].astype(float) for name in ("speed_m_s", "moisture_pct", "yield_kg_ha")}
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(easting[col], northing[row]), crs=CRS)


def made_points(number: int, grid: Grid, outline: shapely.Geometry) -> gpd.GeoDataFrame:
    """Points along passes of 9 m, with ramps flagged at both ends of each."""
    rng = np.random.default_rng(7)
    width, height = grid.cols * grid.cell_m, grid.rows * grid.cell_m
    passes = int(height // 9) - 2
    each = -(-number // passes)
    along = np.tile(np.linspace(0.03, 0.97, each), passes)[:number]
    pass_id = np.repeat(np.arange(passes), each)[:number]
    along = np.where(pass_id % 2 == 0, along, 1 - along)
    # a receiver's jitter, without which the packed points would be smaller than any real log's
    easting = WEST + along * width + rng.normal(0, 0.3, number)
    northing = NORTH - 14 - pass_id * 9.0 + rng.normal(0, 0.3, number)
    place = np.tile(np.arange(each), passes)[:number]
    flag = np.where(place < 2, "pass start", np.where(place >= each - 2, "pass end", ""))
    flag = np.where((flag == "") & (rng.random(number) < 0.02), "speed change", flag)
    flag = np.where(shapely.contains_xy(outline, easting, northing) | (flag != ""), flag, "pass end")
    harvest = 11_000 + 1300 * np.sin(5 * along) + rng.normal(0, 500, number)
    harvest[rng.random(number) < 0.01] = np.nan
    table = {
        "time": pd.Timestamp("2025-10-18T15:00:00Z") + pd.to_timedelta(np.arange(number), unit="s"),
        "yield_kg_ha": harvest,
        "moisture_pct": 17 - 3 * along,
        "speed_m_s": np.full(number, 1.8),
        "machine": np.full(number, "red", dtype=object),
        "log": np.zeros(number, dtype=np.int64),
        "pass_id": pass_id.astype(np.int64),
        "flag": flag.astype(object),
    }
    return gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(easting, northing), crs=CRS)


def made_losses(surfaces: dict[str, Surface], grid: Grid) -> gpd.GeoDataFrame:
    """Twelve stops; the last two have no frame behind the header, so their sources are not known."""
    spots = [
        (0.1, 0.3),
        (0.3, 0.25),
        (0.5, 0.2),
        (0.7, 0.15),
        (0.9, 0.2),
        (0.15, 0.6),
        (0.35, 0.55),
        (0.55, 0.6),
        (0.72, 0.5),
        (0.3, 0.85),
        (0.5, 0.88),
        (0.62, 0.8),
    ]
    rows = []
    for number, (east, north) in enumerate(spots, start=1):
        easting, northing = WEST + east * grid.cols * grid.cell_m, NORTH - north * grid.rows * grid.cell_m
        at = {name: float(surface.at(np.array([easting]), np.array([northing]))[0]) for name, surface in surfaces.items()}
        total, known = at["loss_kg_ha"], number <= 10
        parts = {"preharvest": 0.12, "header": 0.6, "threshing": 0.28, "total": 1.0}
        row: dict[str, Any] = {"stop_id": f"S{number}"}
        for source, share in parts.items():
            value = total * share if known or source == "total" else np.nan
            row |= {f"{source}_kg_ha": value, f"{source}_low_kg_ha": value * 0.6, f"{source}_high_kg_ha": value * 1.5}
        row |= {
            "seeds_before_header": 3.0,
            "seeds_behind_header": 14.0 if known else np.nan,
            "seeds_behind_combine": 22.0,
            "frame_m2_before_header": 0.93,
            "frame_m2_behind_header": 0.93 if known else np.nan,
            "frame_m2_behind_combine": 0.93,
            "concentration": 1.0,
            "weighed": 0.0,
            "speed_m_s": at["speed_m_s"],
            "moisture_pct": at["moisture_pct"],
            "note": "" if known else "no frame behind the header, sources not separated",
            "geometry": shapely.Point(easting, northing),
        }
        rows.append(row)
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def made_drivers() -> dict[str, Driver]:
    """Both tracked; tests of the other verdicts replace one."""
    return {
        "speed": Driver("speed", "tracks", Estimate(1.49, 1.12, 1.98), "+0.5 m/s", 0.991, 1.8, 12, 9, Estimate(22.0, 6.0, 41.0)),
        "dryness": Driver("dryness", "tracks", Estimate(1.65, 1.1, 2.5), "-2 points", 0.984, 16.0, 12, 11, Estimate(9.0, 1.0, 20.0)),
    }


def made_posteriors() -> dict[str, DriverEvidence]:
    """Speed alone was told."""
    return {"speed": DriverEvidence((0.75, 0.25), (0.8, 0.6), (0.2, 0.4), 1.2, 0.25, 1.8, 1.9, (0.0, 0.0, 0.2, 0.7))}


def made_effect(at: np.ndarray, reference: float, side: int) -> EffectCurve:
    """70 kg/ha up to the reference, then twice as much each step of 1; the band widens with what was gone beyond it."""
    beyond = np.maximum(side * (at - reference), 0)
    middles = 70 * 2.0**beyond
    losses = (Estimate(*map(float, ends)) for ends in zip(middles, middles / (1.2 + beyond), middles * (1.2 + beyond), strict=True))
    return EffectCurve(tuple(map(float, at)), tuple(losses))


def made_zones() -> gpd.GeoDataFrame:
    """Two zones, one wound the wrong way round for GeoJSON."""
    first = shapely.box(WEST + 60, NORTH - 360, WEST + 190, NORTH - 250)
    second = shapely.Polygon([(WEST + 420, NORTH - 200), (WEST + 420, NORTH - 90), (WEST + 540, NORTH - 90), (WEST + 540, NORTH - 200)])
    first_zone = _zone("A", "speed", first, (171.0, 120.0, 230.0), (62.0, 21.0, 110.0), 96.0, "driven faster than 1.8 m/s")
    second_zone = _zone("B", "dryness", second, (140.0, 90.0, 200.0), (30.0, 2.0, 66.0), 91.0, "drier than 16 %")
    return gpd.GeoDataFrame([first_zone, second_zone], geometry="geometry", crs=CRS)


def _zone(
    letter: str, reason: str, shape: shapely.Polygon, loss: tuple[float, ...], excess: tuple[float, ...], chance: float, why: str
) -> dict[str, Any]:
    ends = ("", "low_", "high_")
    return {
        "zone_id": letter,
        "reason": reason,
        "area_ha": shape.area / 1e4,
        **{f"loss_{end}kg_ha": value for end, value in zip(ends, loss, strict=True)},
        **{f"excess_{end}kg_ha": value for end, value in zip(ends, excess, strict=True)},
        "chance_pct": chance,
        "why": why,
        "geometry": shape,
    }


def made_hostile(field_map: FieldMap) -> FieldMap:
    """`field_map` with hostile text in every place that a file can fill."""
    facts = field_map.field.facts.model_copy(update={"name": HOSTILE, "machine": HOSTILE, "header": HOSTILE})
    losses, zones, points = field_map.losses.copy(), field_map.zones.copy(), field_map.points.copy()
    losses["note"], losses["stop_id"] = HOSTILE, [f"{HOSTILE}{number}" for number in range(len(losses))]
    zones["why"] = HOSTILE
    points["machine"] = HOSTILE
    cleaning = dataclasses.replace(
        field_map.cleaning,
        notes=(HOSTILE,),
        machine_factors={HOSTILE: Estimate(1.04, 1.02, 1.06)},
        flow_delay=dataclasses.replace(field_map.cleaning.flow_delay, note=HOSTILE),
    )
    return dataclasses.replace(
        field_map,
        field=dataclasses.replace(field_map.field, facts=facts),
        losses=losses,
        zones=zones,
        points=points,
        cleaning=cleaning,
        notes=(HOSTILE,),
        inputs={HOSTILE: "d" * 64},
    )
