"""The verdict on a driver: does loss track ground speed, or dryness, in this field?"""

from __future__ import annotations

import math

from lossmap.base.estimates import MODERATE, NOTHING, STEPS, Driver, Estimate, SlopeEvidence, Verdict
from lossmap.base.settings import ZoneSettings

__all__ = ["driver", "found_sd"]

# A slope this many standard errors from 0 is found 8 times in 10 by a one-sided test at 1.5 %.
FOUND = 2.17 + 0.84


def driver(evidence: SlopeEvidence, settings: ZoneSettings) -> Driver:
    """What may be said of one driver.

    ``tracks`` where the chance of a positive slope reaches ``tracks_chance``. Otherwise
    the field is asked whether it could have shown a moderate effect at all: where the
    smallest slope that stops like these find 8 times in 10 is steeper than that, the
    answer is ``not enough counts``, else ``no sign``.

    A link is never a cause: whatever else changes along with the driver goes with it.
    """
    step, words = STEPS[evidence.name]
    if not math.isfinite(evidence.sd):
        return Driver(evidence.name, "not enough counts", NOTHING, words, math.nan, evidence.reference, 0, None, NOTHING, evidence.note)
    effect = Estimate(*(math.exp(step * part) for part in (evidence.slope.mean, evidence.slope.low, evidence.slope.high)))
    return Driver(
        evidence.name,
        _verdict(evidence, settings),
        effect,
        words,
        evidence.chance,
        evidence.reference,
        evidence.stops,
        _stops_needed(evidence),
        evidence.share_kg_ha,
        evidence.note,
        evidence.coincidence,
    )


def _verdict(evidence: SlopeEvidence, settings: ZoneSettings) -> Verdict:
    if evidence.chance >= settings.tracks_chance:
        return "tracks"
    return "not enough counts" if evidence.expected_sd > found_sd(evidence.name) else "no sign"


def _stops_needed(evidence: SlopeEvidence) -> int | None:
    """Stops like these at which a moderate effect is found 8 times in 10; None where these say nothing at all.

    What the stops add to the prior's precision grows with their number.
    """
    wanted = found_sd(evidence.name) ** -2
    prior, now = evidence.prior_sd**-2, evidence.expected_sd**-2
    if now - prior < 0.02 * prior:
        return None
    return max(1, math.ceil(evidence.stops * (wanted - prior) / (now - prior)))


def found_sd(name: str) -> float:
    """Posterior sd of a driver's slope of log loss at which a moderate effect is found 8 times in 10, per m/s or per point."""
    return math.log(MODERATE[name]) / STEPS[name][0] / FOUND
