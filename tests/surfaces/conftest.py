"""Fields with a loss surface that we know, for tests of the statistics; all of it made up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest

from lossmap.surfaces.counted import Counted
from lossmap.surfaces.counts import CountModel

Floats = npt.NDArray[np.floating]
#: Counts at stops and every cell with the truth, by name.
Made = dict[str, Floats]

FRAME_M2 = 0.09290304  # a square foot


@dataclass(frozen=True)
class Planted:
    """A square field whose intensity of seeds is known at every place.

    `ripple` holds the random waves whose sum is the log of loss; `speed_slope` and
    `dryness_slope` act on that log beyond 2 m/s and below 13 %.
    """

    side_m: float
    rate_seeds_m2: float
    waves: tuple[Floats, Floats, Floats]
    moisture_waves: tuple[Floats, Floats, Floats]
    pass_speed: Floats
    speed_slope: float
    dryness_slope: float

    @classmethod
    def at_random(cls, rng: np.random.Generator, speed_slope: float = 0.0, dryness_slope: float = 0.0, side_m: float = 866.0) -> Planted:
        """Another field each time."""
        scatter = rng.normal(0, 0.45, (int(side_m / 9.144) + 1, int(side_m / 60) + 2))
        return cls(
            side_m,
            float(rng.lognormal(np.log(6 / FRAME_M2), 0.3)),
            _waves(rng, 0.45, rng.uniform(60, 160), 3),
            _waves(rng, 1.3, 200, 3),
            np.clip(2.0 + scatter, 0.9, 3.4),
            speed_slope,
            dryness_slope,
        )

    def speed(self, places_m: Floats) -> Floats:
        """Ground speed [m/s]: each pass has its own, changing along it."""
        row = np.clip((places_m[:, 1] / 9.144).astype(int), 0, self.pass_speed.shape[0] - 1)
        along = np.clip(places_m[:, 0] / 60, 0, self.pass_speed.shape[1] - 1.001)
        left = along.astype(int)
        return (1 - along + left) * self.pass_speed[row, left] + (along - left) * self.pass_speed[row, left + 1]

    def moisture(self, places_m: Floats) -> Floats:
        """Grain moisture [%]."""
        return 13.0 + _sum(self.moisture_waves, places_m)

    def intensity(self, places_m: Floats) -> Floats:
        """Seeds a square metre that lie there."""
        log = _sum(self.waves, places_m)
        log += self.speed_slope * np.maximum(self.speed(places_m) - 2.0, 0)
        log += self.dryness_slope * np.maximum(13.0 - self.moisture(places_m), 0)
        return self.rate_seeds_m2 * np.exp(log)

    def cells(self, cell_m: float = 5.0) -> Floats:
        """Centres of all cells, ``[cell, 2]``."""
        centre = np.arange(cell_m / 2, self.side_m, cell_m)
        east, north = np.meshgrid(centre, centre[::-1])
        return np.column_stack([east.ravel(), north.ravel()])

    def counts(self, rng: np.random.Generator, places_m: Floats, frames: int = 1, size: float = 3.0) -> Floats:
        """Seeds on `frames` square-foot frames at each place, clumped (`size` of the negative binomial a frame)."""
        mean = self.intensity(places_m)[:, None] * FRAME_M2 * np.ones(frames)
        return rng.poisson(mean * rng.gamma(size, 1 / size, mean.shape)).sum(axis=1).astype(float)


def _waves(rng: np.random.Generator, sd: float, range_m: float, freedom: int, number: int = 300) -> tuple[Floats, Floats, Floats]:
    """Random Fourier features of a Matern process with smoothness ``freedom / 2``."""
    vectors = rng.normal(size=(number, 2)) / range_m * np.sqrt(freedom / rng.chisquare(freedom, (number, 1)))
    return vectors, rng.uniform(0, 2 * np.pi, number), sd * np.sqrt(2 / number) * np.ones(number)


def _sum(waves: tuple[Floats, Floats, Floats], places_m: Floats) -> Floats:
    vectors, phase, height = waves
    out = np.empty(len(places_m))
    for start in range(0, len(places_m), 4096):
        rows = slice(start, start + 4096)
        out[rows] = np.cos(places_m[rows] @ vectors.T + phase) @ height
    return out


@pytest.fixture(scope="session")
def planted() -> type[Planted]:
    """The made field of this file."""
    return Planted


@pytest.fixture(scope="session")
def stops_and_cells() -> Callable[..., dict[str, Floats]]:
    """Counts at random stops of a planted field, and every cell with the truth."""

    def make(field: Planted, rng: np.random.Generator, stops: int, frames: int = 4, cell_m: float = 20.0) -> dict[str, Floats]:
        places, cells = rng.uniform(0, field.side_m, (stops, 2)), field.cells(cell_m)
        return {
            "places": places,
            "seeds": field.counts(rng, places, frames),
            "area": np.full(stops, FRAME_M2 * frames),
            "speed": field.speed(places),
            "moisture": field.moisture(places),
            "cells": cells,
            "cell_speed": field.speed(cells),
            "cell_moisture": field.moisture(cells),
            "truth": field.intensity(cells),
        }

    return make


def _fitted(
    made: Made, speed: bool = True, moisture: bool = True, knots: tuple[tuple[float, ...], ...] = ((2.0,), (13.0,)), side_m: float = 866.0
) -> CountModel:
    """The model of made counts, with the drivers wanted."""
    model = CountModel(*knots, diagonal_m=side_m * 2**0.5)
    return model.fit(
        made["places"], Counted.total(made["seeds"], made["area"]), made["speed"] if speed else None, made["moisture"] if moisture else None
    )


def _parted_model(made: Made, every: int = 1, rng_seed: int = 5) -> CountModel:
    """The model of counts at three positions, the first two at each `every`-th stop: a tenth preharvest, seven tenths header."""
    level = np.log(made["seeds"] + 0.5)
    rng, share = np.random.default_rng(rng_seed), np.array([0.1, 0.7, 0.2])
    full = np.array([[1, 0, 0], [1, 1, 0], [1, 1, 1]], float)
    stop = np.repeat(np.arange(len(made["seeds"])), 3)
    sees = np.tile(full, (len(made["seeds"]), 1))
    # each frame clumps on its own about what lies at the stop
    lying = np.repeat(np.exp(level.mean() + 0.3 * (level - level.mean())), 3)
    seeds = rng.poisson(lying * (sees @ share) * rng.gamma(100, 1 / 100, lying.size)).astype(float)
    kept = (stop % every == 0) | (np.arange(stop.size) % 3 == 2)
    area = np.repeat(made["area"], 3)
    counted = Counted(stop[kept], seeds[kept], area[kept], sees[kept], np.ones(3), np.ones(kept.sum()))
    model = CountModel((2.0,), (13.0,), diagonal_m=866.0 * 2**0.5)
    return model.fit(made["places"], counted, made["speed"], made["moisture"])


def _mapped(model: CountModel, made: Made) -> tuple[Floats, Floats, Floats]:
    """Mean, low and high at every cell."""
    return model.predict(made["cells"], made["cell_speed"], made["cell_moisture"])


@pytest.fixture(scope="session")
def fitted() -> Callable[..., CountModel]:
    """Fits made counts: ``fitted(made, speed=True, moisture=True, knots=((2.0,), (13.0,)), side_m=866.0)``."""
    return _fitted


@pytest.fixture(scope="session")
def parted_model() -> Callable[..., CountModel]:
    """Fits made counts at three positions: ``parted_model(made, every=1, rng_seed=5)``."""
    return _parted_model


@pytest.fixture(scope="session")
def mapped() -> Callable[..., tuple[Floats, Floats, Floats]]:
    """The total over the cells of made counts: ``mapped(model, made)``."""
    return _mapped


@pytest.fixture(scope="session")
def made(planted: type[Planted], stops_and_cells: Callable[..., Made]) -> Made:
    """One field with both effects, 30 stops of 4 frames."""
    rng = np.random.default_rng(3)
    return stops_and_cells(planted.at_random(rng, speed_slope=1.0, dryness_slope=0.3), rng, 30, cell_m=60.0)
