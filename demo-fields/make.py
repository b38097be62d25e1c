"""Writes the demo fields anew, byte for byte, and the table of their truth in README.md.

    python demo-fields/make.py            in the project's folder, with lossmap installed

Everything in these folders is made: an invented farm on invented ground. What each field
is meant to show stands beside its plan; `lossmap.synthetic` explains every word of a plan.
"""

from __future__ import annotations

import datetime
import json
import sqlite3
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow
import pyogrio

from lossmap.base.reference import crop
from lossmap.base.tables import SOURCES
from lossmap.base.units import factor
from lossmap.synthetic import FT2_M2, US_COLUMNS, FieldPlan, Layout, MadeField, Source, make, write
from lossmap.synthetic_farm import FarmPlan, MadeFarm, made_farm, write_farm

HERE = Path(__file__).resolve().parent
START, END = "<!-- truth: written by make.py -->", "<!-- end of truth -->"


@dataclass(frozen=True)
class Demo:
    """One demo field: what it is, how it is written down, and what lossmap should say about it."""

    plan: FieldPlan
    rng_seed: int
    layout: Layout
    flaws: str
    should_find: str


def in_july(day: int, hour: int) -> datetime.datetime:
    """An hour (UTC) of July 2025."""
    return datetime.datetime(2025, 7, day, hour, tzinfo=datetime.UTC)


def in_october(day: int, hour: int) -> datetime.datetime:
    """An hour (UTC) of October 2025."""
    return datetime.datetime(2025, 10, day, hour, tzinfo=datetime.UTC)


# Roles of a log that says no more than it must.
SHORT = ("time", "mass_flow", "moisture", "speed", "distance", "width", "heading")

TRADE_WORDS = {"before_header": "standing crop", "behind_header": "behind head", "behind_combine": "behind machine"}

DEMOS = {
    # Corn, CSV in US units, the residue in a windrow, whole ears beside loose kernels; fast passes lose much more.
    "gravel-eighty": Demo(
        FieldPlan(
            crop="corn",
            outline="rectangle",
            length_m=560,
            breadth_m=360,
            course_deg=8,
            started=in_october(21, 16),
            log_interval_s=2,
            yield_kg_ha=11_600,
            yield_sd=0.1,
            moisture_start_pct=19.2,
            moisture_drop_pct=2.4,
            speed_levels_m_s=(1.4, 1.8, 2.2, 2.6, 2.9),
            preharvest=Source(25, 0.3, 80),
            header=Source(95, 0.35, 80),
            threshing=Source(35, 0.3, 60),
            speed_effect=2.22,
            moisture_knot_pct=16.0,
            stops=36,
            design="spread",
            discharge_width_m=1.524,
            ears=0.25,
            ear_g=150,
            seed_mass_g=305,
            stated_seed_mass_g=305,
        ),
        101,
        Layout(
            columns={role: US_COLUMNS[role] for role in ("time", "longitude", "latitude", *SHORT[1:])},
            words={"seeds": "kernels"} | TRADE_WORDS,
            boundary=False,
            facts={"name": "Gravel eighty (made)", "header": "corn head, 12 rows", "machine": "red", "row_spacing": "30 in"},
        ),
        "residue in a 5 ft windrow; ears counted on 1/100 acre; no boundary",
        "speed: tracks; dryness: no sign or not enough counts; zones on the fast passes",
    ),
    # Soybean, GeoPackage, a pond in the middle, turns in the log, moisture late; dry beans shatter.
    "pond-piece": Demo(
        FieldPlan(
            crop="soybean",
            outline="holed",
            length_m=480,
            breadth_m=340,
            course_deg=95,
            west_m=415_300,
            started=in_october(3, 15),
            log_interval_s=3,
            header_up_rows=True,
            moisture_delay_s=11,
            yield_kg_ha=3_900,
            moisture_start_pct=16.4,
            moisture_drop_pct=6.0,
            moisture_sd_pct=0.5,
            speed_levels_m_s=(1.7, 1.8, 1.9),
            preharvest=Source(12, 0.3, 60),
            header=Source(75, 0.35, 80),
            threshing=Source(14, 0.3, 60),
            dryness_effect=2.72,
            stops=60,
            design="spread",
        ),
        202,
        Layout(
            points="gpkg",
            columns={role: US_COLUMNS[role] for role in SHORT} | {"work": ("Work state", "")},
            words={"seeds": "beans"},
            epsg=32615,
            facts={"name": "Pond piece (made)", "header": "flex draper", "machine": "red", "reel_diameter": "42 in", "reel_rpm": 46},
        ),
        "turns logged with work state 0; moisture 11 s late; a pond in the boundary",
        "dryness: tracks; speed: no sign or not enough counts; moisture about 11 s late",
    ),
    # Wheat, zipped Shapefile with names cut to ten letters, records twice and thrown aside; nothing tracks.
    "crooked-forty": Demo(
        FieldPlan(
            crop="wheat",
            outline="irregular",
            length_m=520,
            breadth_m=330,
            course_deg=340,
            west_m=410_100,
            north_m=4_657_200,
            started=in_july(14, 17),
            log_interval_s=2,
            yield_kg_ha=4_600,
            moisture_start_pct=14.4,
            moisture_drop_pct=2.4,
            preharvest=Source(10, 0.3, 60),
            header=Source(55, 0.4, 70),
            threshing=Source(40, 0.35, 60),
            stops=24,
            duplicates=60,
            jumps=25,
            spikes=20,
        ),
        303,
        Layout(
            points="shp.zip",
            columns={
                "time": ("Time_UTC", ""),
                "mass_flow": ("MassFlow_l", "lb/s"),
                "moisture": ("Moistur_pc", "percent"),
                "speed": ("GrndSpeed_", "mph"),
                "distance": ("Distance_f", "ft"),
                "width": ("SwathWid_f", "ft"),
                "heading": ("Heading_de", "deg"),
            },
            explained=("mass_flow", "moisture", "speed", "distance", "width", "heading", "time"),
            words={"seeds": "kernels"},
            epsg=32615,
            facts={"name": "Crooked forty (made)", "header": "draper", "machine": "green"},
        ),
        "60 records twice, 25 thrown 60 to 250 m aside, 20 with threefold flow; column names cut to ten letters",
        "speed and dryness: no sign or not enough counts (24 stops); the thrown and doubled records flagged",
    ),
    # Canola, GeoParquet in metric units, only counted behind the combine, one frame a stop.
    "far-bench": Demo(
        FieldPlan(
            crop="canola",
            outline="bent",
            length_m=460,
            breadth_m=330,
            course_deg=50,
            west_m=408_700,
            north_m=4_653_400,
            started=in_july(17, 16),
            header_width_m=10.668,
            log_interval_s=2,
            flow_delay_s=10,
            yield_kg_ha=2_500,
            moisture_start_pct=11.0,
            moisture_drop_pct=2.6,
            preharvest=Source(20, 0.4, 60),
            header=Source(60, 0.4, 70),
            threshing=Source(60, 0.4, 60),
            speed_effect=1.49,
            moisture_knot_pct=9.0,
            stops=12,
            frames=1,
            frame_m2=0.25,
            positions=("behind_combine",),
        ),
        404,
        Layout(
            points="parquet",
            columns={
                "time": ("Time", ""),
                "mass_flow": ("Grain flow (kg/s)", "kg/s"),
                "moisture": ("Moisture (%)", "percent"),
                "speed": ("Speed (km/h)", "km/h"),
                "interval": ("Interval (s)", "s"),
                "width": ("Header width (m)", "m"),
                "heading": ("Course (deg)", "deg"),
            },
            epsg=32615,
            frame_unit="m2",
            facts={"name": "Far bench (made)", "header": "draper", "machine": "green"},
        ),
        "flow 10 s late; counted only behind the combine, one 0.25 m2 frame a stop",
        "a total with its interval, no split by source; speed and dryness: not enough counts; flow about 10 s late",
    ),
    # Oats, FlatGeobuf with the display's yield instead of flow, all passes one way, overlapping; seed weighed.
    "mill-strip": Demo(
        FieldPlan(
            crop="oats",
            outline="rectangle",
            length_m=420,
            breadth_m=170,
            course_deg=270,
            west_m=413_900,
            north_m=4_650_800,
            started=in_july(22, 18),
            header_width_m=7.62,
            overlap_m=1.3,
            headland_rounds=0,
            two_ways=False,
            log_interval_s=2,
            yield_kg_ha=3_300,
            moisture_start_pct=13.6,
            moisture_drop_pct=1.5,
            preharvest=Source(25, 0.2, 60),
            header=Source(60, 0.25, 70),
            threshing=Source(45, 0.2, 60),
            stops=5,
            frames=3,
            frame_m2=1.0,
            weighed=True,
        ),
        505,
        Layout(
            points="fgb",
            columns={
                "time": ("Time UTC", ""),
                "yield": ("Dry yield bu/ac", "bu/ac"),
                "moisture": ("Moisture %", "percent"),
                "speed": ("Speed mph", "mph"),
                "width": ("Header width ft", "ft"),
            },
            explained=("yield", "moisture", "speed", "width"),
            frame_unit="m2",
            facts={"name": "Mill strip (made)", "header": "rigid", "machine": "green"},
        ),
        "passes overlap by 1.3 m of 7.62 m; all driven one way; seed weighed to 0.1 g; yield instead of flow",
        "one field mean, no surface of loss; speed and dryness: not enough counts; delay not identifiable",
    ),
}


#: The farm of which `lossmap rank` tells the order of harvest, and the day on which it does.
FARM, FARM_SEED, FARM_ON = FarmPlan(fields=12, years=15), 707, FarmPlan().on


def remake_farm(folder: Path) -> MadeFarm:
    """Write the made farm below `folder`; gives it back with its truth."""
    made = made_farm(FARM, FARM_SEED)
    write_farm(made, folder / "made-farm", FARM_ON)
    return made


def remake(folder: Path) -> dict[str, MadeField]:
    """Write every demo field below `folder`; gives them back with their truth."""
    made = {}
    for name, demo in DEMOS.items():
        made[name] = make(demo.plan, demo.rng_seed)
        write(made[name], folder / name, demo.layout)
    return made


def truth_table(made: dict[str, MadeField]) -> str:
    """The truth behind each field as a Markdown table, in kg/ha and in bu/ac."""
    columns = [
        "field",
        "crop, format",
        "preharvest + header + threshing = total loss",
        "of total yield",
        "planted",
        "stops",
        "flaws",
        "lossmap should find",
    ]
    rows = [columns, ["---"] * len(columns), *(_row(name, DEMOS[name], field) for name, field in made.items())]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in rows)


def _row(name: str, demo: Demo, made: MadeField) -> list[str]:
    plan, means = demo.plan, made.truth.mean_kg_ha
    parts = " + ".join(f"{means[source]:.0f}" for source in SOURCES)
    bushels = means["total"] * factor("kg/ha", "bu/ac", crop(plan.crop).bushel_lb)
    harvested = float(np.nanmean(made.truth.surfaces["yield_kg_ha"].mean))
    area = "1 ft2" if plan.frame_m2 == FT2_M2 else f"{plan.frame_m2:g} m2"
    return [
        f"`{name}`",
        f"{plan.crop}, {demo.layout.points}",
        f"{parts} = {means['total']:.0f} kg/ha ({bushels:.2f} bu/ac)",
        f"{100 * means['total'] / (means['total'] + harvested):.1f} %",
        _planted(plan, made),
        f"{plan.stops} {plan.design}, {plan.frames} x {area}",
        demo.flaws,
        demo.should_find,
    ]


def _planted(plan: FieldPlan, made: MadeField) -> str:
    """The effects in words, with what goes with them over the field."""
    shares = made.truth.share_kg_ha
    speed = f"header loss x{plan.speed_effect:g} per +0.5 m/s above {plan.speed_knot_m_s:g} m/s"
    dryness = f"header loss x{plan.dryness_effect:g} per -2 points below {plan.moisture_knot_pct:g} %"
    found = [f"{speed}: {shares['speed']:.0f} kg/ha over the field"] if plan.speed_effect != 1 else []
    found += [f"{dryness}: {shares['dryness']:.0f} kg/ha over the field"] if plan.dryness_effect != 1 else []
    return "; ".join(found) or "no effect"


def versions() -> dict[str, str]:
    """The libraries whose own marks stand in the binary files."""
    return {
        "gdal": ".".join(map(str, pyogrio.__gdal_version__)),
        "pyarrow": pyarrow.__version__,
        "sqlite": sqlite3.sqlite_version,
    }


def main() -> int:
    """Remake everything in place."""
    table = truth_table(remake(HERE))
    remake_farm(HERE)
    readme = HERE / "README.md"
    before, _, rest = readme.read_text(encoding="utf-8").partition(START)
    after = rest.partition(END)[2]
    readme.write_text(f"{before}{START}\n{table}\n{END}{after}", encoding="utf-8", newline="\n")
    (HERE / "made-with.json").write_text(json.dumps(versions(), indent=2) + "\n", encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
