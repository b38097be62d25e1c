"""What the long simulations share: settings of made fields, the way from counts to a surface, and work on two cores."""

from __future__ import annotations

import os

# before numpy is loaded, also in the processes that do the work
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import dataclasses
import functools
import multiprocessing
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from lossmap import synthetic
from lossmap.base import reference
from lossmap.base.estimates import Z90, Driver, Estimate, normal_points
from lossmap.base.field import Field, FieldFacts
from lossmap.base.settings import Settings
from lossmap.base.tables import DRIVE
from lossmap.loss import losses
from lossmap.surfaces import loss_surface
from lossmap.surfaces.loss import LossSurface
from lossmap.synthetic import FieldPlan, MadeField, Source
from lossmap.zones import driver, zones

Floats = npt.NDArray[np.floating]
Bools = npt.NDArray[np.bool_]

USUAL = Settings()
CROP = reference.crop("soybean")
BU_AC = 67.251  # kg/ha, 60 lb
SEED_G = CROP.seed_mass_g.mean
EXACT = Estimate(SEED_G, SEED_G, SEED_G)
CORES = 2
#: Layers of the machine that the count model looks at.
LAYERS = tuple(DRIVE.values())

#: Stops and the frames laid at each.
SIZES = ((12, 1), (24, 1), (48, 1), (96, 1), (24, 4), (48, 4), (96, 4))

STRONG = {"speed_effect": 2.22, "dryness_effect": 2.72}
MODERATE = {"speed_effect": 1.49, "dryness_effect": 1.65}
NONE = {"speed_effect": 1.0, "dryness_effect": 1.0}

#: Ground speeds of passes as a normal 2.0 +- 0.45 m/s has them, and moisture about the knot at 13 %.
DRIVEN = {
    "speed_levels_m_s": tuple(float(2.0 + 0.45 * z) for z in normal_points(20)),
    "moisture_start_pct": 14.0,
    "moisture_drop_pct": 2.0,
    "moisture_sd_pct": 1.1,
}


# --- settings -------------------------------------------------------------------------


def alike(rng_seed: int) -> FieldPlan:
    """Soybean on 40 ha that lose 1 to 2 bu/ac, nine tenths of it before and at the header.

    Log-Gaussian (sd 0.62) and smooth over some 90 m, a small true effect of speed (x1.1 a
    step), counts clumped with size 2.5; speed a normal 2.0 +- 0.45 m/s from pass to pass,
    moisture 13 +- 1.2 %. Chosen so that the field mean and the process on square roots score
    as they do in the simulator that the lines come from, whose drivers are of that kind.
    """
    return _plan(rng_seed, Source(1.0, 0.62, 90.0, True), Source(1.0, 0.35, 60.0, True), speed_effect=1.1, clumping_r=2.5)


def hard(rng_seed: int) -> FieldPlan:
    """The same, rough over 60 m, clumped with size 1.2, and scattered by 0.3 from stop to stop at no distance."""
    rough = Source(1.0, 0.62, 60.0, False)
    return _plan(rng_seed, rough, rough, speed_effect=1.1, clumping_r=1.2, micro_sd=0.3)


def varied(rng_seed: int) -> FieldPlan:
    """Another outline, size, range, roughness, scatter, clumping and sensor delay in each field."""
    rng = np.random.default_rng([rng_seed, 2])
    header = Source(1.0, rng.uniform(0.25, 0.65), rng.uniform(40, 180), bool(rng.integers(2)))
    return _plan(
        rng_seed,
        header,
        dataclasses.replace(header, range_m=60.0),
        outline=str(rng.choice(list(synthetic.OUTLINES))),
        length_m=rng.uniform(400, 1000),
        breadth_m=rng.uniform(250, 600),
        speed_effect=rng.choice([1.0, 1.2, 1.49]),
        dryness_effect=rng.choice([1.0, 1.3]),
        clumping_r=rng.uniform(1.2, 6.0),
        micro_sd=rng.uniform(0.0, 0.3),
        flow_delay_s=rng.uniform(0, 15),
        moisture_delay_s=rng.uniform(0, 15),
        flow_noise=0.04,
        stated_seed_mass_g=SEED_G,
    )


def _plan(rng_seed: int, header: Source, machine: Source, **more: Any) -> FieldPlan:
    """A field counted behind the combine, its level another for each seed."""
    total = 1.25 * BU_AC * float(np.exp(np.random.default_rng([rng_seed, 1]).normal(0, 0.25)))
    usual = {"length_m": 800.0, "breadth_m": 500.0, "headland_rounds": 0, "positions": ("behind_combine",), "flow_noise": 0.0} | DRIVEN
    return FieldPlan(
        preharvest=dataclasses.replace(header, mean_kg_ha=0.1 * total),
        header=dataclasses.replace(header, mean_kg_ha=0.8 * total),
        threshing=dataclasses.replace(machine, mean_kg_ha=0.1 * total),
        **{**usual, **more},
    )


def plans(setting: Callable[[int], FieldPlan], rng_seeds: Iterable[int], **more: Any) -> list[tuple[FieldPlan, int]]:
    """One plan of the setting for each seed, with more of it set."""
    return [(dataclasses.replace(setting(rng_seed), **more), rng_seed) for rng_seed in rng_seeds]


# --- from counts to a surface ---------------------------------------------------------


@dataclass(frozen=True)
class Mapped:
    """A made field and what its counts say of it."""

    made: MadeField
    losses: gpd.GeoDataFrame
    found: LossSurface
    inside: Bools

    def true(self, name: str = "total_kg_ha") -> Floats:
        """The truth in every cell of the field."""
        return self.made.truth.surfaces[name].mean[self.inside].astype(float)

    def verdicts(self) -> dict[str, Driver]:
        """What is said of each driver."""
        return {name: driver(evidence, USUAL.zones) for name, evidence in self.found.evidence.items()}

    def zones(self) -> gpd.GeoDataFrame:
        """The zones that would be drawn."""
        found = self.found
        return zones(found.surface, found.excess, found.chance, self.verdicts(), self.made.boundary, USUAL.zones)

    @property
    def cells_m(self) -> Floats:
        """Centres of the field's cells, ``[cell, 2]``."""
        east, north = np.meshgrid(*self.found.surface.grid.centres())
        return np.column_stack([east[self.inside], north[self.inside]])


def mapped(made: MadeField) -> Mapped:
    """The loss surface of a made field, from its counts and its true speeds and moistures."""
    found = stops_of(made)
    layers = {name: made.truth.surfaces[name] for name in LAYERS}
    grid = made.truth.surfaces["total_kg_ha"].grid
    inside = np.isfinite(made.truth.surfaces["total_kg_ha"].mean)
    return Mapped(made, found, loss_surface(found, layers, grid, inside, USUAL, EXACT), inside)


def stops_of(made: MadeField) -> gpd.GeoDataFrame:
    """LOSSES of a made field, with the speed and moisture where each stop was cut."""
    facts = {"name": "made", "crop": "soybean", "header_width": "30 ft", "thousand_seed_mass": f"{SEED_G} g"}
    if made.plan.discharge_width_m:
        facts["discharge_width"] = f"{made.plan.discharge_width_m} m"
    found = losses(made.counts, Field(Path("made"), FieldFacts(**facts), CROP), USUAL.loss, 1)
    places = shapely.get_coordinates(found.geometry.to_numpy()).T
    return found.assign(**{name: made.truth.surfaces[name].at(*places) for name in LAYERS})


# --- many fields ----------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """One finding: what was asked, what came out, the line it is held against and whether it holds (None: no line).

    `excuse` says why a line that is missed cannot be held in this setting.
    """

    what: str
    measured: str
    line: str = ""
    holds: bool | None = None
    excuse: str = ""

    @property
    def is_missed(self) -> bool:
        """Whether a line within reach is missed."""
        return self.holds is False and not self.excuse


def over_fields(trial: Callable[[Any, int], Any], jobs: Sequence[tuple[Any, int]]) -> list[Any]:
    """Try each planned field, on two cores; in the order of the plans."""
    return list(_pool().map(trial, *zip(*jobs, strict=True)))


@functools.cache
def _pool() -> ProcessPoolExecutor:
    """One for the whole run: a worker takes seconds to load all it needs."""
    return ProcessPoolExecutor(CORES, multiprocessing.get_context("forkserver"))


def rate(marks: Sequence[Any]) -> str:
    """A share with its binomial standard error."""
    share = float(np.mean(marks))
    return f"{share:.3f} +- {np.sqrt(share * (1 - share) / len(marks)):.3f}"


def holds(interval: Estimate, truth: float) -> bool:
    """Whether the truth lies in the 90 % interval."""
    return interval.low <= truth <= interval.high


def log_normal(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the logarithm, from a log-normal's 90 % interval."""
    return np.log(low * high) / 2, np.log(high / low) / (2 * Z90)
