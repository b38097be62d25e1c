"""Logs whose every fault is known."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from lossmap.base.field import Field, FieldFacts
from lossmap.base.reference import crop
from lossmap.base.settings import Settings, build


@pytest.fixture
def settings():
    """The defaults of cleaning."""
    return Settings().clean


@pytest.fixture
def field():
    """A made corn field cut with a header of nine metres."""
    facts = build(FieldFacts, {"name": "made", "crop": "corn", "header_width": "9 m"}, "made/field.toml")
    return Field(Path("made"), facts, crop("corn"))


@pytest.fixture
def straight_log():
    """Build a log of passes up and down, 2 m/s, 1 Hz, 9 m apart, with 10 kg/s of corn at 16 %."""

    def build_log(passes: int = 6, seconds: int = 150, speed: float = 2.0, spacing: float = 9.0, clock: bool = True) -> gpd.GeoDataFrame:
        along = np.arange(seconds) * speed
        north = np.concatenate([along if number % 2 == 0 else along[::-1] for number in range(passes)])
        east = np.repeat(np.arange(passes) * spacing, seconds)
        count = passes * seconds
        columns = {
            "mass_flow_kg_s": np.full(count, 10.0),
            "moisture_pct": np.full(count, 16.0),
            "speed_m_s": np.full(count, speed),
            "distance_m": np.full(count, speed),
            "interval_s": np.full(count, 1.0),
            "width_m": np.full(count, 9.0),
            "machine": [""] * count,
            "log": np.zeros(count, dtype=np.int64),
        }
        table = gpd.GeoDataFrame(columns, geometry=shapely.points(450_000 + east, 4_639_000 + north), crs="EPSG:32615")
        table["machine"] = table["machine"].astype("str")
        if clock:
            # thirty seconds of turning between passes are not logged
            seconds_on = np.arange(count) + 30 * np.repeat(np.arange(passes), seconds)
            table["time"] = (np.datetime64("2025-10-18T14:00:00") + seconds_on.astype("timedelta64[s]")).astype("datetime64[ns]")
            table["time"] = table["time"].dt.tz_localize("UTC")
        return table

    return build_log
