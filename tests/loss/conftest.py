"""Counts as a user's files give them, and counts whose losses we know; all of it made up."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from lossmap.base import reference
from lossmap.base.field import Field, FieldFacts
from lossmap.base.tables import POSITIONS

FT2_M2 = 0.3048**2
Rows = list[dict[str, Any]]


def _field_of(crop: str = "soybean", discharge: str | None = None, mass: str | None = "155.6 g") -> Field:
    """A made field with a 24 ft header."""
    facts = FieldFacts(name="made", crop=crop, header_width="24 ft", discharge_width=discharge, thousand_seed_mass=mass)
    return Field(Path("made"), facts, reference.crop(crop))


def _counts_of(rows: Rows, crs: int = 32615) -> gpd.GeoDataFrame:
    """COUNTS from rows of (stop, position, seeds, frames) and further columns by name."""
    usual = {
        "seeds": np.nan,
        "grams": np.nan,
        "ears": np.nan,
        "grams_per_ear": np.nan,
        "frames": 1.0,
        "note": "",
        "east": 0.0,
        "north": 0.0,
    }
    frame = pd.DataFrame([{**usual, **row} for row in rows])
    frame["frame_m2"] = frame["frame_m2"] if "frame_m2" in frame else FT2_M2 * frame["frames"]
    numbers = ["seeds", "grams", "ears", "grams_per_ear", "frame_m2", "frames"]
    place = gpd.points_from_xy(frame.pop("east"), frame.pop("north"))
    return gpd.GeoDataFrame(frame.astype(dict.fromkeys(numbers, float)), geometry=place, crs=crs)


def _three(stop: str, before: float, front: float, behind: float, frames: int = 1, **more: Any) -> Rows:
    """Rows of one stop with all three positions."""
    return [
        {"stop_id": stop, "position": position, "seeds": seeds, "frames": frames, **more}
        for position, seeds in zip(POSITIONS, (before, front, behind), strict=True)
    ]


def _simulated(
    rng: np.random.Generator,
    stops: int,
    frames: int = 4,
    ratio: float = 1.0,
    positions: tuple[str, ...] = POSITIONS,
    means: tuple[float, float, float] = (0.5, 3.0, 1.0),
    differ: float = 0.45,
    size: float = 4.0,
) -> tuple[gpd.GeoDataFrame, np.ndarray]:
    """Counts at places whose losses differ log-normally, clumped; and the true seeds a frame, ``[stop, source]``."""
    true = np.array(means) * np.exp(differ * rng.normal(size=(stops, 3)) - differ**2 / 2)
    lying = np.column_stack([true[:, 0], true[:, 0] + true[:, 1], true[:, 0] + true[:, 1] + ratio * true[:, 2]])
    seeds = rng.poisson(lying[:, :, None] * rng.gamma(size, 1 / size, (stops, 3, frames))).sum(axis=2)
    where = rng.uniform(0, 600, (stops, 2))
    rows = [
        {
            "stop_id": f"s{stop}",
            "position": position,
            "seeds": seeds[stop, place],
            "frames": frames,
            "east": where[stop, 0],
            "north": where[stop, 1],
        }
        for stop in range(stops)
        for place, position in enumerate(POSITIONS)
        if position in positions
    ]
    return _counts_of(rows), true


@pytest.fixture(scope="session")
def field_of() -> Callable[..., Field]:
    """Makes a field: ``field_of(crop="soybean", discharge=None, mass="155.6 g")``."""
    return _field_of


@pytest.fixture(scope="session")
def counts_of() -> Callable[..., gpd.GeoDataFrame]:
    """Makes COUNTS of rows: ``counts_of([{"stop_id": "a", "position": "behind_combine", "seeds": 3}])``."""
    return _counts_of


@pytest.fixture(scope="session")
def three() -> Callable[..., Rows]:
    """Makes rows of one stop at all positions: ``three("a", before, front, behind, frames=1)``."""
    return _three


@pytest.fixture(scope="session")
def simulated() -> Callable[..., tuple[gpd.GeoDataFrame, np.ndarray]]:
    """Draws COUNTS and the true seeds a frame: ``simulated(rng, stops, frames=4, ratio=1.0, size=4.0)``."""
    return _simulated
