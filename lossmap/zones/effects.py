"""A driver's effect with all its doubt: equally likely readings of what was counted, and the curve they draw."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_interp_spline

from lossmap.base.estimates import Z90, Beginning, EffectCurve, Estimate, SlopeEvidence, normal_points
from lossmap.base.grid import Floats

__all__ = ["LikelyEffects", "effect_curve", "likely_effects", "middle"]

# Equally likely slopes and mean losses that stand for what the counts leave open, and places along a curve.
SLOPES, LOSSES, ALONG = 301, 9, 41


@dataclass(frozen=True)
class LikelyEffects:
    """Readings of a driver's effect, each as likely as the next.

    Attributes
    ----------
    slopes, references : array, ``[reading]``
        Slope of log loss, and the speed [m/s] or moisture [%] from which it acts.
    losses : array, ``[reading]``
        Mean loss over the field as it was cut [kg/ha].
    at_reference : array, ``[reading]``
        Loss of an average place where the driver does not act yet [kg/ha].
    side : 1 or -1
        Whether the effect acts above its reference (speed) or below it (moisture).
    """

    slopes: Floats
    references: Floats
    losses: Floats
    at_reference: Floats
    side: int

    def at(self, values: Floats) -> Floats:
        """Loss of an average place at each value of the driver [kg/ha], ``[reading, value]``."""
        return self.at_reference[:, None] * _factor(self.slopes, self.references, self.side, values)


def likely_effects(evidence: SlopeEvidence, everywhere: Floats, mean_kg_ha: Estimate) -> LikelyEffects:
    """What the counts leave open of a driver's effect.

    Loss grows as ``exp(slope (value - X))`` beyond the reference X and is level before it, at a
    height at which the field's own values give `mean_kg_ha`. X is in doubt too where the evidence
    says from which values the effect may begin.

    Parameters
    ----------
    evidence : SlopeEvidence
        With a slope.
    everywhere : array, ``[cell]``
        The driver over the field [m/s or %], all known.
    mean_kg_ha : Estimate
        Mean loss over the field [kg/ha], above 0.
    """
    side = 1 if evidence.name == "speed" else -1
    slopes, references = _slopes(evidence, side)
    # a few hundred quantiles of the field's values stand for its cells
    usual = np.quantile(everywhere, (np.arange(512) + 0.5) / 512)
    as_cut = _factor(slopes, references, side, usual).mean(axis=1)
    losses = _losses(mean_kg_ha)
    return LikelyEffects(
        np.repeat(slopes, losses.size),
        np.repeat(references, losses.size),
        np.tile(losses, slopes.size),
        (losses / as_cut[:, None]).ravel(),
        side,
    )


def effect_curve(evidence: SlopeEvidence, everywhere: Floats, at_stops: Floats, mean_kg_ha: Estimate) -> EffectCurve:
    """What an average place of the field loses at each speed (moisture), all else being as it is over the field.

    Drawn between the least and the most at which anybody counted; beyond them nothing was seen.

    Parameters
    ----------
    evidence : SlopeEvidence
    everywhere : array, ``[cell]``
        The driver over the field [m/s or %]; NaN where unknown.
    at_stops : array, ``[stop]``
        The same where stops were cut; NaN where unknown.
    mean_kg_ha : Estimate
        Mean loss over the field, all sources [kg/ha].

    Returns
    -------
    EffectCurve
        Empty where the evidence has no slope, nothing was lost, or fewer than two stops differ in the driver.
    """
    known, seen = everywhere[np.isfinite(everywhere)], at_stops[np.isfinite(at_stops)]
    if not math.isfinite(evidence.sd) or not mean_kg_ha.mean > 0 or not known.size or not seen.size or not np.ptp(seen) > 0:
        return EffectCurve()
    along = np.linspace(seen.min(), seen.max(), ALONG)
    losses = likely_effects(evidence, known, mean_kg_ha).at(along)
    return EffectCurve(tuple(map(float, along)), tuple(middle(column) for column in losses.T))


def middle(values: Floats) -> Estimate:
    """Middle and 90 % interval of equally likely values."""
    low, half, high = (float(value) for value in np.quantile(values, (0.05, 0.5, 0.95)))
    return Estimate(half, low, high)


def _factor(slopes: Floats, references: Floats, side: int, values: Floats) -> Floats:
    """Loss over that before the reference, ``[reading, value]``."""
    return np.asarray(np.exp(slopes[:, None] * np.maximum(side * (values - references[:, None]), 0)))


def _slopes(evidence: SlopeEvidence, side: int) -> tuple[Floats, Floats]:
    """Equally likely slopes, each with the value from which it acts: as many about each beginning as it is likely.

    Beginnings are a few values that were tried; the effect may as well begin anywhere between
    them, with a slope between theirs, so each stands for a stretch of its own.
    """
    known = sorted(evidence.beginnings, key=lambda one: one.reference)
    known = known or [Beginning(evidence.reference, 1.0, evidence.slope.mean, evidence.sd)]
    weights = np.array([one.weight for one in known])
    numbers = np.rint(SLOPES * weights / weights.sum()).astype(int)
    tried = np.array([one.reference for one in known])
    edges = _edges(tried, side)
    begun = np.concatenate(
        [low + (high - low) * _shuffled(number) for low, high, number in zip(edges[:-1], edges[1:], numbers, strict=True)]
    )
    middles = _between(tried, np.array([one.slope for one in known]), begun)
    sds = np.exp(_between(tried, np.log([max(one.sd, 1e-12) for one in known]), begun))
    return middles + sds * np.concatenate([normal_points(number) for number in numbers]), begun


def _edges(references: Floats, side: int) -> Floats:
    """Ends of the stretch that each of the ascending `references` stands for, half-way to its neighbours; a single one stands for itself.

    The earliest reaches half a gap before it, the latest a whole one: later beginnings were
    not tried, because few stops lie beyond them, not because they are unlikely.
    """
    if len(references) == 1:
        return np.repeat(references, 2)
    middles = (references[:-1] + references[1:]) / 2
    below, above = (0.5, 1.0) if side > 0 else (1.0, 0.5)
    first, last = references[1] - references[0], references[-1] - references[-2]
    return np.concatenate([[references[0] - below * first], middles, [references[-1] + above * last]])


def _between(references: Floats, values: Floats, at: Floats) -> Floats:
    """Straight from one of the ascending references to the next, and on beyond the outer ones."""
    return np.full(at.shape, values[0]) if len(references) == 1 else np.asarray(make_interp_spline(references, values, k=1)(at))


def _shuffled(number: int) -> Floats:
    """Numbers spread evenly over 0 to 1, out of order in the same way every time (multiples of the golden ratio)."""
    return np.asarray((np.arange(number) + 0.5) * (math.sqrt(5) - 1) / 2 % 1)


def _losses(mean_kg_ha: Estimate) -> Floats:
    """Equally likely values of a log-normal with that mean and about that 90 % interval; one where no interval is known."""
    sd = (mean_kg_ha.high - mean_kg_ha.low) / (2 * Z90)
    if not math.isfinite(sd):
        return np.array([mean_kg_ha.mean])
    variance = math.log1p((sd / mean_kg_ha.mean) ** 2)
    return np.asarray(np.exp(math.log(mean_kg_ha.mean) - variance / 2 + math.sqrt(variance) * normal_points(LOSSES)))
