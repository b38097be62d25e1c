"""Made seasons to make pages of: invented land, invented numbers, known everywhere."""

from __future__ import annotations

import dataclasses
import datetime
import math

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.season import LevelContrast, Pooled, PooledCurve, PooledDriver, Season, ShrunkenSlope
from lossmap.base.settings import Settings, build
from lossmap.base.tables import FACTORS, SEASON, SOURCES
from lossmap.base.units import factor

NAMES = ("Alder", "Birch", "Cedar", "Dogwood", "Elder", "Fern", "Gorse", "Hazel", "Ivy", "Juniper")
PLACES = ("bottom", "corner", "flat", "piece", "quarter", "rise", "strip")
SHARES = {"preharvest": 0.12, "header": 0.6, "threshing": 0.28}
PRICE = "4.20 USD/bu"


def made_season(
    fields: int = 14, failed: int = 2, crops: tuple[str, ...] = ("corn", "soybean"), spread_km: float = 6.0, **report: str
) -> Season:
    """Fields in a square of about `spread_km`, loss about 70 kg/ha, two headers and three operators, and what they say together.

    The last mapped field lies 90 km east of the rest and is 4 ha small.
    """
    settings = build(Settings, {"report": {"price": PRICE} | report}, "made.toml")
    rows = [_row(number, fields, crops, spread_km) for number in range(fields)]
    rows += [_failed(number) for number in range(failed)]
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs="EPSG:4326") if rows else _empty()
    return Season("made-farm-2025", SEASON.check(frame), made_pooled(frame), settings, datetime.date(2025, 11, 20))


def _row(number: int, fields: int, crops: tuple[str, ...], spread_km: float) -> dict[str, object]:
    rng = np.random.default_rng(number)
    side = math.ceil(math.sqrt(fields))
    far = number == fields - 1 and fields > 2
    east, north = (90.0, 8.0) if far else ((number % side + rng.uniform(0, 0.3)) * spread_km / side, number // side * spread_km / side)
    area_ha = 4.0 if far else float(rng.uniform(15, 60))
    loss = float(np.round(40 + 60 * rng.random(), 2))
    crop = crops[number * len(crops) // fields]
    harvest = 11_000.0 if crop == "corn" else 3_600.0
    name = f"{NAMES[number % 10]} {PLACES[number // 10 % 7]}{'' if number < 70 else f' {number}'}"
    row: dict[str, object] = {
        "field_id": name.lower().replace(" ", "-"),
        "name": name,
        "crop": crop,
        "error": "",
        "remade": int(number % 3 != 0),
        "seconds": 9.0,
        "area_ha": area_ha,
        "points": 40_000.0,
        "points_kept": 36_500.0,
        "stops": 12.0,
        "zones": 0.0,
        **_losses(loss),
        "total_pct": 100 * loss / (harvest + loss),
        "yield_kg_ha": harvest,
        "speed_m_s": 1.8,
        "moisture_pct": 16.0 if crop == "corn" else 12.5,
        "loss_usd": loss * area_ha * 4.2 * factor("kg", "bu", 56.0 if crop == "corn" else 60.0),
        "speed_verdict": "tracks" if number % 3 == 0 else "not enough counts",
        "dryness_verdict": "no sign" if number % 5 == 0 else "not enough counts",
        "speed_rests_on": ("own counts" if number % 6 == 0 else "season") if number % 3 == 0 else "",
        "dryness_rests_on": "",
        "header": ("draper", "auger")[number % 2],
        "machine": "red",
        "operator": ("A", "B", "C")[number % 3],
        "variety": "",
        "row_spacing": "",
        "population": "",
        "geometry": _outline(east, north, area_ha, rng),
    }
    return row


def _losses(total: float) -> dict[str, float]:
    parts = {"total": 1.0, **SHARES}
    return {
        f"{source}_{end}kg_ha": total * share * by
        for source, share in parts.items()
        for end, by in (("", 1.0), ("low_", 0.7), ("high_", 1.4))
    }


def _outline(east_km: float, north_km: float, area_ha: float, rng: np.random.Generator) -> shapely.Polygon:
    """A field of five corners, its south-west one so far east and north of a place of nobody's."""
    side = math.sqrt(area_ha) / 10
    corners = np.array([(0, 0), (1, 0.02), (0.97, 0.8), (0.6, 1.05), (0.02, 0.95)]) * side * [rng.uniform(0.8, 1.25), 1]
    lon, lat = -93.7 + (east_km + corners[:, 0]) / 82.8, 41.9 + (north_km + corners[:, 1]) / 111.0
    return shapely.Polygon(np.column_stack([lon, lat]))


def _failed(number: int) -> dict[str, object]:
    texts = dict.fromkeys(FACTORS, "")
    verdicts = {f"{driver}_{what}": "" for driver in ("speed", "dryness") for what in ("verdict", "rests_on")}
    numbers = {column.name: np.nan for column in SEASON.columns if column.kind == "number"}
    known = {
        "field_id": f"wet-piece-{number + 1}",
        "name": f"Wet piece {number + 1}",
        "crop": "",
        "error": f'wet-piece-{number + 1}/counts.csv: has no column of seeds (found "x", "y"); add one, or name it in field.toml',
        "remade": 0,
        "seconds": 0.4,
        "geometry": shapely.Polygon(),
    }
    return {**numbers, **texts, **verdicts, **known}


def _empty() -> gpd.GeoDataFrame:
    kinds = {"number": "float64", "whole": "int64", "text": "object"}
    columns = {column.name: pd.Series(dtype=kinds[column.kind]) for column in SEASON.columns}
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries([], crs="EPSG:4326"))


def made_pooled(frame: gpd.GeoDataFrame) -> Pooled:
    """What the rows say together: speed tracks, dryness cannot be told, the auger loses more."""
    mapped = frame[frame["error"] == ""]
    if mapped.empty:
        return Pooled(drivers={name: nothing_of(name) for name in ("speed", "dryness")})
    drivers = {"speed": tracking(mapped["field_id"]), "dryness": open_question(mapped["field_id"])}
    beyond = tuple(float(value) for value in np.linspace(0, 1.2, 13))
    curve = PooledCurve(
        beyond,
        tuple(Estimate(math.exp(0.55 * at), math.exp(0.3 * at), math.exp(0.8 * at)) for at in beyond),
        {name: tuple(math.exp(slope.slope.mean * at) for at in beyond) for name, slope in drivers["speed"].shrunken.items()},
    )
    return Pooled(
        fields=len(mapped),
        area_ha=float(mapped["area_ha"].sum()),
        loss=_mean(mapped),
        by_crop={crop: _mean(rows) for crop, rows in mapped.groupby("crop")},
        drivers=drivers,
        curves={"speed": curve},
        contrasts=contrasts(),
        notes=("row spacing and population are given for no field, so nothing is said of them",),
    )


def _mean(rows: gpd.GeoDataFrame) -> dict[str, Estimate]:
    share = rows["area_ha"] / rows["area_ha"].sum()
    means = {source: float((rows[f"{source}_kg_ha"] * share).sum()) for source in ("total", *SOURCES)}
    return {source: Estimate(mean, 0.9 * mean, 1.12 * mean) for source, mean in means.items()}


def tracking(fields: pd.Series) -> PooledDriver:
    """Speed, seen within the fields; every third field borrows from the season."""
    shrunken = {
        name: ShrunkenSlope(
            Estimate(0.3 + 0.1 * (number % 6), -0.2, 1.3), Estimate(0.45 + 0.04 * (number % 6), 0.1, 0.9), 0.96, number % 3 == 0
        )
        for number, name in enumerate(fields)
    }
    return PooledDriver(
        name="speed",
        fields=len(fields),
        verdict="tracks",
        slope=Estimate(0.55, 0.3, 0.8),
        effect=Estimate(1.32, 1.16, 1.49),
        effect_step="+0.5 m/s",
        chance=0.998,
        between_sd=Estimate(0.15, 0.02, 0.3),
        leaning=len(fields) - len(fields) // 6,
        share_kg_ha=Estimate(11.0, 5.0, 18.0),
        hidden_correlation=Estimate(0.42, 0.24, 0.55),
        between_fields=Estimate(0.9, -0.4, 2.1),
        shrunken=shrunken,
    )


def open_question(fields: pd.Series) -> PooledDriver:
    """Dryness, of which the counts say too little."""
    shrunken = {name: ShrunkenSlope(Estimate(0.05, -0.3, 0.4), Estimate(0.04, -0.2, 0.25), 0.62, False) for name in fields}
    return PooledDriver(
        name="dryness",
        fields=len(fields),
        verdict="not enough counts",
        slope=Estimate(0.04, -0.08, 0.16),
        effect=Estimate(1.08, 0.85, 1.38),
        effect_step="-2 points",
        chance=0.7,
        between_sd=Estimate(0.1, 0.01, 0.25),
        leaning=len(fields) // 2,
        share_kg_ha=Estimate(2.0, -1.0, 6.0),
        hidden_correlation=NOTHING,
        between_fields=Estimate(0.2, 0.05, 0.35),
        shrunken=shrunken,
    )


def nothing_of(name: str) -> PooledDriver:
    """A driver of which no field can speak."""
    step = {"speed": "+0.5 m/s", "dryness": "-2 points"}[name]
    return PooledDriver(
        name,
        0,
        "not enough counts",
        NOTHING,
        NOTHING,
        step,
        math.nan,
        NOTHING,
        0,
        NOTHING,
        NOTHING,
        NOTHING,
        {},
        "no field has counts at two speeds",
    )


def contrasts() -> tuple[LevelContrast, ...]:
    """Two headers, told apart at the header; three operators, of whom one leans."""
    return (
        LevelContrast("header", "auger", "header", 7, 7, Estimate(1.45, 1.12, 1.9), Estimate(16.0, 5.0, 28.0), 0.999, True),
        LevelContrast("header", "draper", "header", 7, 7, Estimate(0.69, 0.53, 0.89), Estimate(-16.0, -28.0, -5.0), 0.001, True),
        LevelContrast("operator", "C", "total", 4, 10, Estimate(1.2, 0.9, 1.6), Estimate(12.0, -6.0, 33.0), 0.94, False),
        LevelContrast("operator", "A", "total", 5, 9, Estimate(0.97, 0.72, 1.3), Estimate(-2.0, -20.0, 19.0), 0.42, False),
        LevelContrast("operator", "B", "total", 5, 9, Estimate(0.86, 0.64, 1.16), Estimate(-10.0, -28.0, 10.0), 0.12, False),
    )


def with_field(season: Season, number: int, **values: object) -> Season:
    """The season with one field's row changed."""
    frame = season.fields.copy()
    for name, value in values.items():
        frame.loc[frame.index[number], name] = value
    return dataclasses.replace(season, fields=frame)


def with_driver(season: Season, name: str, **values: object) -> Season:
    """The season with something else said of one driver."""
    driver = dataclasses.replace(season.pooled.drivers[name], **values)
    return dataclasses.replace(season, pooled=dataclasses.replace(season.pooled, drivers={**season.pooled.drivers, name: driver}))
