"""What a fitted count model says of one driver, in the values that other stages take."""

from __future__ import annotations

import math

import numpy as np

from lossmap.base.estimates import NOTHING, Beginning, Estimate, SlopeEvidence
from lossmap.base.grid import Floats
from lossmap.base.logloss import Hinge
from lossmap.base.season import DriverEvidence
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.lattice import SLOPE_SD

__all__ = ["no_evidence", "slope_evidence", "whole_posterior"]

# Values that stand for how far the field lies beyond where an effect begins.
BEYOND = 32


def slope_evidence(model: CountModel, driver: str, stops: int, share_kg_ha: Estimate, coincidence: float) -> SlopeEvidence:
    """What a field's verdict rests on.

    Parameters
    ----------
    model : CountModel
        Fitted with that driver.
    driver : "speed" or "dryness"
    stops : int
        That carried evidence.
    share_kg_ha : Estimate
        Loss over the field that goes with the driver [kg/ha].
    coincidence : float
        As in `SlopeEvidence`.
    """
    slope = model.slopes_[driver]
    return SlopeEvidence(
        driver,
        slope.interval(),
        slope.moments()[1],
        slope.chance(),
        SLOPE_SD[driver],
        slope.expected_sd,
        model.knots_[driver],
        stops,
        share_kg_ha,
        beginnings=_beginnings(model, driver),
        coincidence=coincidence,
    )


def no_evidence(driver: str, why: str) -> SlopeEvidence:
    """Of a driver that was left out."""
    nan = math.nan
    return SlopeEvidence(driver, NOTHING, nan, nan, SLOPE_SD[driver], nan, nan, 0, NOTHING, why)


def whole_posterior(model: CountModel, driver: str, everywhere: Floats, beginnings: tuple[Beginning, ...]) -> DriverEvidence:
    """What a season pools.

    Parameters
    ----------
    model : CountModel
        Fitted with that driver.
    driver : "speed" or "dryness"
    everywhere : array, ``[cell]``
        Ground speed [m/s] or moisture [%] over the field.
    beginnings : tuple of Beginning
        Of the same driver's `slope_evidence`.
    """
    slope = model.slopes_[driver].thinned()
    return DriverEvidence(
        tuple(slope.weight.tolist()),
        tuple(slope.mean.tolist()),
        tuple(slope.sd.tolist()),
        SLOPE_SD[driver],
        slope.expected_sd,
        model.knots_[driver],
        float(everywhere.mean()),
        _beyond(driver, everywhere, beginnings),
    )


def _beginnings(model: CountModel, driver: str) -> tuple[Beginning, ...]:
    """Where the driver's effect may begin, and its slope from there, knot by knot."""
    found = []
    for column in model.kept_hinges(driver):
        part = model.posterior([column])
        slope = float(part.slope[column] / part.weight)
        sd = math.sqrt(max(float(part.slope_second[column] / part.weight) - slope**2, 0.0))
        found.append(Beginning(model.hinges_[column].knot, part.weight, slope, sd))
    return tuple(found)


def _beyond(driver: str, everywhere: Floats, beginnings: tuple[Beginning, ...]) -> tuple[float, ...]:
    """How far the field lies beyond where the effect may begin: `BEYOND` equally likely values, rising."""
    far = np.concatenate([Hinge(driver, one.reference).of(everywhere) for one in beginnings])
    weight = np.repeat([one.weight for one in beginnings], everywhere.size)
    order = np.argsort(far, kind="stable")
    below = np.cumsum(weight[order]) / weight.sum()
    slices = np.searchsorted(below, (np.arange(BEYOND) + 0.5) / BEYOND)
    return tuple(far[order][np.minimum(slices, far.size - 1)].tolist())
