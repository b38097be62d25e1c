"""Made seasons for the simulations: fields counted at random stops, each fitted once by the count model, drawn into seasons from a bank.

A field is 800 x 500 m in 55 passes. Ground speed is another on each pass, normal 2.0 +- 0.45
m/s; moisture falls from 14 to 12 % over the passes, give or take 1.1 % that is smooth over
90 m. The logarithm of loss is normal (sd 0.62) and smooth over 90 m, about 1.25 bu/ac give or
take a quarter; seeds are counted in frames of a square foot, clumped with size 2.5. Slopes
begin at 2.0 m/s and 13 %. So `slow.fields.alike`, straight at the stops, without a grid.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist
from slow.fields import BU_AC, SEED_G, Floats, over_fields

from lossmap.base.estimates import MODERATE, STEPS, Z90, Estimate
from lossmap.base.logloss import FALLEN, Hinge
from lossmap.base.season import DriverEvidence, FieldEvidence
from lossmap.base.settings import ZoneSettings
from lossmap.base.tables import DRIVE
from lossmap.surfaces.counted import Counted
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.drivers import knots
from lossmap.surfaces.lattice import SLOPE_SD
from lossmap.synthetic import FT2_M2

LONG_M, WIDE_M, PASSES = 800.0, 500.0, 55
LOSS_SD, LOSS_RANGE_M, LEVEL_SD, CLUMPING = 0.62, 90.0, 0.25, 2.5
MOISTURE_SD, MOISTURE_RANGE_M = 1.1, 90.0
BEGINS = {"speed": 2.0, "dryness": 13.0}
GROUND = 64
#: Slope of a moderate effect of each driver; a strong one has twice that.
SLOPE = {name: float(np.log(MODERATE[name]) / STEPS[name][0]) for name in DRIVE}


@dataclass(frozen=True)
class Bank:
    """Fields to be made: how they are counted, and what their slopes are.

    Attributes
    ----------
    stops, frames : int
    effect : float
        Mean slope, in moderate ones.
    varies : float
        Standard deviation of slopes between fields, in moderate ones.
    hidden : float
        Correlation, within fields, of log loss's own pattern with speed (a cause that all fields share).
    knots_given : bool
        Whether the fit is told where effects begin, instead of averaging over what the field suggests.
    """

    stops: int
    frames: int
    effect: float = 0.0
    varies: float = 0.0
    hidden: float = 0.0
    knots_given: bool = False


@dataclass(frozen=True)
class SeasonField:
    """One field's evidence and the slopes planted in it."""

    evidence: FieldEvidence
    slopes: dict[str, float]


def bank(plan: Bank, fields: int, first: int) -> list[SeasonField]:
    """So many fields of the plan, each from its own seed."""
    return list(over_fields(made, [(plan, rng_seed) for rng_seed in range(first, first + fields)]))


def made(plan: Bank, rng_seed: int) -> SeasonField:
    """One field counted and fitted."""
    rng = np.random.default_rng([rng_seed, plan.stops, plan.frames, 7])
    slopes = {name: float(SLOPE[name] * rng.normal(plan.effect, plan.varies)) for name in DRIVE}
    places = rng.uniform((0, 0), (LONG_M, WIDE_M), (plan.stops + GROUND, 2))
    passes = (places[:, 1] / WIDE_M * PASSES).astype(int)
    speeds = np.maximum(rng.normal(2.0, 0.45, PASSES), 0.7)
    drive = {"speed": speeds[passes], "dryness": 14 - 2 * places[:, 1] / WIDE_M + MOISTURE_SD * smooth(places, MOISTURE_RANGE_M, rng)}
    pattern = smooth(places, LOSS_RANGE_M, rng)
    if plan.hidden:
        pattern = plan.hidden * (drive["speed"] - 2.0) / 0.45 + np.sqrt(1 - plan.hidden**2) * pattern
    level = np.log(1.25 * BU_AC) + rng.normal(0, LEVEL_SD)
    log_loss = level + LOSS_SD * pattern + sum(slopes[name] * Hinge(name, BEGINS[name]).of(drive[name]) for name in DRIVE)
    area = plan.frames * FT2_M2
    seeds_mean, size = area * np.exp(log_loss[: plan.stops]) * 100 / SEED_G, CLUMPING * plan.frames
    seeds = rng.negative_binomial(size, size / (size + seeds_mean)).astype(float)
    return SeasonField(_evidence(plan, rng_seed, places, drive, seeds, area), slopes)


def smooth(places_m: Floats, range_m: float, rng: np.random.Generator) -> Floats:
    """A smooth standard normal process at places."""
    far = FALLEN * cdist(places_m, places_m) / range_m
    root = np.linalg.cholesky((1 + far) * np.exp(-far) + 1e-8 * np.eye(len(places_m)))
    return np.asarray(root @ rng.normal(size=len(places_m)))


def _evidence(plan: Bank, rng_seed: int, places: Floats, drive: dict[str, Floats], seeds: Floats, area: float) -> FieldEvidence:
    """As a map of the field leaves it."""
    given = (
        ZoneSettings(speed_above=f"{BEGINS['speed']} m/s", moisture_below=f"{BEGINS['dryness']} %") if plan.knots_given else ZoneSettings()
    )
    at = {name: values[: plan.stops] for name, values in drive.items()}
    ground = {name: values[plan.stops :] for name, values in drive.items()}
    model = CountModel(*(knots(name, ground[name], given) for name in DRIVE), float(np.hypot(LONG_M, WIDE_M)))
    counted = Counted.total(seeds, np.full(plan.stops, area))
    counted = dataclasses.replace(counted, worth=np.full(1, SEED_G / 100))
    model.fit(places[: plan.stops], counted, at["speed"], at["dryness"])
    drivers = {}
    for name, slope in model.slopes_.items():
        thin = slope.thinned()
        beyond = np.quantile(Hinge(name, model.knots_[name]).of(ground[name]), (np.arange(32) + 0.5) / 32)
        drivers[name] = DriverEvidence(
            tuple(thin.weight.tolist()),
            tuple(thin.mean.tolist()),
            tuple(thin.sd.tolist()),
            SLOPE_SD[name],
            slope.expected_sd,
            model.knots_[name],
            float(ground[name].mean()),
            tuple(beyond.tolist()),
        )
    total = _total(model, places[plan.stops :], ground)
    return FieldEvidence(
        f"made-{rng_seed}", "soybean", 40.0, plan.stops, {"total": total, "header": total}, drivers, {}, 0.0, model.typical()[0]
    )


def _total(model: CountModel, places: Floats, ground: dict[str, Floats]) -> Estimate:
    """Field mean [kg/ha] with the interval of a log-normal."""
    log, among = model.joint_total(places, ground["speed"], ground["dryness"])
    each = np.exp(log + np.diag(among) / 2)
    variance = float(np.log1p(max(each @ np.expm1(among) @ each, 0.0) / each.sum() ** 2))
    middle, spread = float(each.mean()) * np.exp(-variance / 2), Z90 * np.sqrt(variance)
    return Estimate(float(each.mean()), float(middle * np.exp(-spread)), float(middle * np.exp(spread)))
