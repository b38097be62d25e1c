"""One driver over all fields of a season: verdict, share of the loss, fields' own slopes, and what a hidden cause would need."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from lossmap.base.estimates import MODERATE, NOTHING, STEPS, Estimate, Verdict, normal_points
from lossmap.base.grid import Floats
from lossmap.base.season import DriverEvidence, FieldEvidence, PooledCurve, PooledDriver, ShrunkenSlope
from lossmap.base.settings import SeasonSettings
from lossmap.base.tables import DRIVER_WORDS
from lossmap.pool.curves import Curves
from lossmap.pool.effects import ALIKE, MEAN_SD, TAU_SD, TAUS, RandomEffects, estimates
from lossmap.pool.losses import LogLosses
from lossmap.pool.regression import contrast
from lossmap.pool.spikes import chances

__all__ = ["pooled_driver"]

# Slope's sd at which a moderate effect is found 8 times in 10, beside the quantile that a verdict takes.
EIGHT_IN_TEN = 0.84
CURVE_POINTS = 25
# A curve goes as far as the ground does in most fields.
CURVE_SHARE = 0.95


def pooled_driver(name: str, fields: Sequence[FieldEvidence], settings: SeasonSettings) -> tuple[PooledDriver, PooledCurve]:
    """What the fields of a season say of one driver, and the factor on loss along it."""
    known = [field for field in fields if name in field.drivers]
    if not known:
        return _nothing(name, len(fields)), PooledCurve()
    curves = Curves.of([field.drivers[name] for field in known])
    effects = RandomEffects.of(curves, TAUS if len(known) > 1 else ALIKE)
    slope, chance = effects.slope(), effects.chance()
    verdict = _verdict(name, curves, chance, settings)
    own, drawn = estimates(curves.at, curves.own()), estimates(curves.at, effects.of_fields())
    found = PooledDriver(
        name=name,
        fields=len(known),
        verdict=verdict,
        slope=slope,
        effect=_factor(slope, STEPS[name][0]),
        effect_step=STEPS[name][1],
        chance=chance,
        between_sd=effects.between_sd() if len(known) > 1 else NOTHING,
        leaning=int((_leaning(curves) > 0.5).sum()),
        share_kg_ha=_share(known, effects),
        hidden_correlation=_hidden_correlation(name, known, slope) if verdict == "tracks" else NOTHING,
        between_fields=_between_fields(name, known),
        shrunken={
            field.field_id: ShrunkenSlope(one, other, likely, verdict == "tracks" and likely >= settings.borrow_chance)
            for field, one, other, likely in zip(known, own, drawn, chances(curves).tolist(), strict=True)
        },
        note="One field alone: this is its own counts' word." if len(known) == 1 else "",
    )
    return found, _curve(name, known, slope, found)


def _nothing(name: str, fields: int) -> PooledDriver:
    whose = "there is no mapped field" if not fields else f"no field's counts can speak of {DRIVER_WORDS[name]}"
    return PooledDriver(
        name=name,
        fields=0,
        verdict="not enough counts",
        slope=NOTHING,
        effect=NOTHING,
        effect_step=STEPS[name][1],
        chance=math.nan,
        between_sd=NOTHING,
        leaning=0,
        share_kg_ha=NOTHING,
        hidden_correlation=NOTHING,
        between_fields=NOTHING,
        shrunken={},
        note=whose,
    )


def _verdict(name: str, curves: Curves, chance: float, settings: SeasonSettings) -> Verdict:
    """As for one field: without a link, whether counts like these could have shown a moderate one.

    A link is never a cause: whatever else changes along with the driver in all fields goes with it.
    """
    if chance >= settings.tracks_chance:
        return "tracks"
    moderate = math.log(MODERATE[name]) / STEPS[name][0]
    least = float(ndtri(settings.tracks_chance)) + EIGHT_IN_TEN
    return "no sign" if _expected_sd(curves) * least <= moderate else "not enough counts"


def _expected_sd(curves: Curves) -> float:
    """Posterior sd of the mean slope that was to be expected before any count was compared, slopes varying as much as the prior has it."""
    told = np.array([max(field.expected_sd**-2 - field.prior_sd**-2, 1e-12) for field in curves.fields])
    between = TAU_SD * curves.prior_sd
    return float(((MEAN_SD * curves.prior_sd) ** -2 + (1 / (1 / told + between**2)).sum()) ** -0.5)


def _leaning(curves: Curves) -> Floats:
    own = curves.own()
    middle = curves.at.size // 2
    return np.asarray(own[:, middle + 1 :].sum(axis=1) + own[:, middle] / 2)


def _factor(slope: Estimate, beyond: float) -> Estimate:
    return Estimate(*(math.exp(part * beyond) for part in (slope.mean, slope.low, slope.high)))


# --- loss that goes with the driver ---------------------------------------------------


def _share(fields: Sequence[FieldEvidence], effects: RandomEffects) -> Estimate:
    """By area over the fields whose loss is known [kg/ha].

    A field with slope b and ground u beyond its reference loses ``1 - 1 / mean(exp(b u))`` of
    its loss to that. Given the season's mean and spread the fields are independent, so
    their sum is close to normal; it is then a mixture over mean and spread.
    """
    losses = {field.field_id: loss for field in fields if (loss := field.loss.get("total", NOTHING))}
    if not losses:
        return NOTHING
    whole = math.fsum(field.area_ha for field in fields if field.field_id in losses)
    mean, variance = np.zeros(effects.shares.shape), np.zeros(effects.shares.shape)
    for block in effects.curves.blocks():
        here = fields[block]
        part = np.stack([_part(driver, effects.curves.at) for driver in effects.curves.fields[block]])
        first, second = effects.expected(part, block), effects.expected(part**2, block)
        of_field = np.array([_moments(field, losses.get(field.field_id), whole) for field in here])
        mean += np.tensordot(of_field[:, 0], first, 1)
        variance += np.tensordot(of_field[:, 1], second, 1) - np.tensordot(of_field[:, 0] ** 2, first**2, 1)
    return _normals(effects.shares, mean, np.maximum(variance, 0.0))


def _part(driver: DriverEvidence, slopes: Floats) -> Floats:
    """Of the field's loss at each slope, ``[slope]``."""
    risen = np.exp(np.minimum(np.outer(driver.beyond, slopes), 50.0)).mean(axis=0)
    return np.asarray(1 - 1 / risen)


def _moments(field: FieldEvidence, loss: Estimate | None, whole_ha: float) -> tuple[float, float]:
    """Mean of the field's loss and of its square, each as it enters the season's mean by area."""
    if loss is None:
        return 0.0, 0.0
    mean = field.area_ha / whole_ha * loss.mean
    return mean, mean**2 * (math.exp(loss.log_sd**2) if loss.low > 0 else 1.0)


def _normals(shares: Floats, means: Floats, variances: Floats) -> Estimate:
    """Mean and 90 % interval of a mixture of normals, each taken at the middles of slices of equal probability."""
    z = normal_points(9)
    values = (means[..., None] + np.sqrt(variances)[..., None] * z).ravel()
    weights = np.repeat(shares.ravel(), z.size) / z.size
    order = np.argsort(values)
    below = np.cumsum(weights[order]) - weights[order] / 2
    low, high = np.interp([0.05, 0.95], below, values[order])
    return Estimate(float((shares * means).sum()), float(low), float(high))


# --- what else it may be --------------------------------------------------------------


def _hidden_correlation(name: str, fields: Sequence[FieldEvidence], slope: Estimate) -> Estimate:
    """How closely a hidden cause would have to go with the driver within fields to explain the slope away.

    Leaving out of a regression a cause that changes log loss by ``s`` for one standard
    deviation of its own, and whose correlation with the driver is ``r``, changes the driver's
    slope by ``r s / sd(driver)`` (bias of an omitted variable: any textbook of regression;
    as a measure of robustness, Cinelli & Hazlett 2020; both from memory). With s as large as
    all that log loss changes by within fields for reasons unknown, that is the whole slope
    where ``r = slope sd(driver) / s``. 1 where even a cause that is the driver itself would not do.
    """
    pairs = [(float(np.std(field.drivers[name].beyond)), field.log_loss_sd) for field in fields if field.log_loss_sd > 0]
    if not pairs:
        return NOTHING
    of_driver, of_loss = np.sqrt((np.array(pairs) ** 2).mean(axis=0))
    return Estimate(*(float(np.clip(part * of_driver / of_loss, 0.0, 1.0)) for part in (slope.mean, slope.low, slope.high)))


def _between_fields(name: str, fields: Sequence[FieldEvidence]) -> Estimate:
    """Slope of log loss over the fields' mean speed, or dryness, crops apart."""
    losses = LogLosses.of(fields, "total")
    sign = 1.0 if name == "speed" else -1.0
    means = np.array([sign * field.drivers[name].mean for field in losses.fields])
    found = contrast(losses.log, losses.variance, means, losses.crop) if means.size else None
    return NOTHING if found is None else found.interval()


def _curve(name: str, fields: Sequence[FieldEvidence], slope: Estimate, found: PooledDriver) -> PooledCurve:
    furthest = float(np.quantile(np.concatenate([field.drivers[name].beyond for field in fields]), CURVE_SHARE))
    if furthest <= 0:
        return PooledCurve()
    beyond = np.linspace(0.0, furthest, CURVE_POINTS)
    return PooledCurve(
        tuple(beyond.tolist()),
        tuple(_factor(slope, float(far)) for far in beyond),
        {field: tuple(np.exp(one.slope.mean * beyond).tolist()) for field, one in found.shrunken.items()},
    )
