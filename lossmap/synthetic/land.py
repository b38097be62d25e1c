"""What stands on a made field before anybody drives on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.ndimage

from lossmap.base.grid import Floats, Grid
from lossmap.base.logloss import FALLEN
from lossmap.synthetic.plan import FieldPlan

__all__ = ["Land", "gaussian", "grown"]


@dataclass(frozen=True)
class Land:
    """What stands on the field, ``[row, col]`` on `grid`.

    Attributes
    ----------
    grid : Grid
    yield_kg_ha, elevation_m : array
    moisture_off_pct : array
        Departure from the field's mean of the hour [points].
    lump : array
        A Gaussian field: where it is highest the effects act, if they do not act everywhere.
    """

    grid: Grid
    yield_kg_ha: Floats
    moisture_off_pct: Floats
    elevation_m: Floats
    lump: Floats

    def at(self, values: Floats, places: Floats) -> Floats:
        """Values of a layer between cell centres, linear; `places` is ``[n, 2]`` [m]."""
        row = (self.grid.north_m - places[:, 1]) / self.grid.cell_m - 0.5
        col = (places[:, 0] - self.grid.west_m) / self.grid.cell_m - 0.5
        return np.asarray(scipy.ndimage.map_coordinates(values, [row, col], order=1, mode="nearest"))


def grown(plan: FieldPlan, grid: Grid, rng: np.random.Generator) -> Land:
    """What the plan lets grow: every layer a smooth random field."""
    waves = gaussian(grid, plan.yield_range_m, True, rng)
    return Land(
        grid,
        plan.yield_kg_ha * np.clip(1 + plan.yield_sd * waves, 0.2, 2.0),
        plan.moisture_sd_pct * gaussian(grid, plan.moisture_range_m, True, rng),
        300 + 2.5 * gaussian(grid, 150.0, True, rng),
        gaussian(grid, 120.0, True, rng),
    )


def gaussian(grid: Grid, range_m: float, smooth: bool, rng: np.random.Generator) -> Floats:
    """A random field of mean 0 and variance 1, correlation 0.37 at the range, by circulant embedding.

    The torus is wider than the field by three ranges, so opposite edges do not know of
    each other; the little that embedding leaves negative is cut off.
    """
    margin = math.ceil(3 * range_m / grid.cell_m)
    rows, cols = (scipy.fft.next_fast_len(n + margin) for n in grid.shape)
    down = np.minimum(np.arange(rows), rows - np.arange(rows)) * grid.cell_m
    right = np.minimum(np.arange(cols), cols - np.arange(cols)) * grid.cell_m
    lag = np.hypot(down[:, None], right[None, :]) / range_m
    covariance = (1 + FALLEN * lag) * np.exp(-FALLEN * lag) if smooth else np.exp(-lag)
    power = np.maximum(np.fft.rfft2(covariance).real, 0)
    noise = np.fft.rfft2(rng.standard_normal((rows, cols)))
    return np.asarray(np.fft.irfft2(noise * np.sqrt(power), s=(rows, cols))[: grid.rows, : grid.cols])
