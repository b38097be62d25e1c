"""Readers under damage: whatever comes in, a table or one of our own refusals comes out."""

from __future__ import annotations

import os
import random
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from lossmap.base.errors import LossmapError
from lossmap.read import read_counts, read_field, read_points

pytestmark = pytest.mark.slow

# A minute a format by default; ten with LOSSMAP_FUZZ_SECONDS=600.
SECONDS = float(os.environ.get("LOSSMAP_FUZZ_SECONDS", "60"))

FACTS = 'name = "Made"\ncrop = "corn"\nheader_width = "30 ft"\n[[points]]\npath = "{name}"\n[[counts]]\npath = "counts.csv"\n'
COUNTS = b"stop,longitude,latitude,position,seeds,frame_ft2,frames\n" + b"".join(
    b"%d,-93.6,41.9%02d,%s,%d,1,4\n" % (i, i, (b"before header", b"rear")[i % 2], i) for i in range(30)
)


def valid(name: str, folder: Path) -> bytes:
    """A small sound log in the format of `name`."""
    count = 60
    frame = gpd.GeoDataFrame(
        {
            "Mass flow (kg/s)": np.linspace(8, 12, count),
            "Moisture": np.linspace(15, 18, count),
            "Speed (m/s)": np.full(count, 2.0),
            "Time": [f"2025-10-18T14:{i // 60:02d}:{i % 60:02d}Z" for i in range(count)],
        },
        geometry=shapely.points(np.full(count, -93.6), 41.9 + np.arange(count) * 2.0 / 111_195),
        crs="EPSG:4326",
    )
    file = folder / name
    if name.endswith("csv"):
        frame.drop(columns="geometry").assign(lon=frame.geometry.x, lat=frame.geometry.y).to_csv(file, index=False)
    elif name.endswith("parquet"):
        frame.to_parquet(file)
    else:
        renamed = frame.rename(columns={"Mass flow (kg/s)": "flw_kgs", "Moisture": "mostr", "Speed (m/s)": "spd_ms"})
        renamed.to_file(file)
    return file.read_bytes()


def damaged(content: bytes, chance: random.Random) -> bytes:
    """Bytes changed, cut out, doubled or put in; now and then a number that is none."""
    out = bytearray(content)
    for _ in range(chance.randint(1, 12)):
        place = chance.randrange(len(out) or 1)
        match chance.randrange(6):
            case 0:
                out[place : place + 1] = bytes([chance.randrange(256)])
            case 1:
                del out[place : place + chance.randint(1, 200)]
            case 2:
                out[place:place] = out[place : place + chance.randint(1, 60)]
            case 3:
                out[place:place] = chance.choice([b"NaN", b"1e999", b"-inf", b'"', b"\n", b",", b"\0", b"\xff\xfe", b"{{7*7}}", b"999999"])
            case 4:
                out = out[:place]
            case _:
                out[place : place + 4] = chance.randbytes(4)
    return bytes(out)


@pytest.mark.parametrize(
    "name", ["points.csv", "points.geojson", "points.gpkg", "points.shp.zip", "points.fgb", "points.parquet", "counts.csv"]
)
def test_damage_is_refused_in_our_own_words(name):
    """For a minute a format of damaged files: a table, or a LossmapError; no other error, no hang of over ten seconds."""
    chance = random.Random(name)
    tried, slowest, until = 0, 0.0, time.monotonic() + SECONDS
    with tempfile.TemporaryDirectory() as outer:
        folder = Path(outer) / "made"
        folder.mkdir()
        points = "points.csv" if name == "counts.csv" else name
        sound = valid(points, folder)
        (folder / "field.toml").write_text(FACTS.format(name=points))
        (folder / "counts.csv").write_bytes(COUNTS)
        while time.monotonic() < until:
            (folder / name).write_bytes(damaged(COUNTS if name == "counts.csv" else sound, chance))
            began = time.monotonic()
            try:
                field = read_field(folder)
                read_counts(field) if name == "counts.csv" else read_points(field)
            except LossmapError:
                pass
            tried, slowest = tried + 1, max(slowest, time.monotonic() - began)
    print(f"\n{name}: {tried:,} damaged files, slowest {slowest:.2f} s")
    assert tried > 20
    assert slowest < 10.0
