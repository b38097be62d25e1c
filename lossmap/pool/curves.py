"""Fields' evidence curves: how likely a field's counts are, slope by slope.

A field's posterior of a slope over its prior is, up to a constant, the likelihood of its
counts at each slope, all else averaged out; so fields are pooled without fitting any again.
The hinge's intercept took up the field's level in that fit: a curve tells of contrasts
within its field alone.

If slopes differ between fields as normals with mean ``mu`` and standard deviation ``tau``,
what a field says of the two is its curve under that normal, an integral over the slope::

    likelihood(mu, tau) = integral of curve(b) N(b; mu, tau^2) db

taken as a sum over even steps, which for normals at least a step wide is exact to many
figures; without any difference (tau = 0) it is the curve itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lossmap.base.grid import Floats
from lossmap.base.season import DriverEvidence

__all__ = ["BLOCK", "Curves", "spreading"]

#: Fields worked on at once: what a block needs stays near the processor.
BLOCK = 500

# Slopes at which curves are held reach this many prior standard deviations to either side, in
# steps a third as wide as the narrowest curve of any field (300 counts leave a tenth of the prior's).
REACH, STEPS = 4.0, 241
# A curve is never quite 0: a field that contradicts all others weighs much, not everything.
LEAST = 1e-200


@dataclass(frozen=True)
class Curves:
    """One curve a field.

    Attributes
    ----------
    fields : sequence of DriverEvidence
    prior_sd : float
        Largest of the fields' prior standard deviations.
    at : array, ``[slope]``
        Even steps, 0 in the middle.
    likelihood : array, ``[field, slope]``
        Highest value of each 1.
    log_highest : array, ``[field]``
        Logarithm of what each was divided by for that.
    """

    fields: Sequence[DriverEvidence]
    prior_sd: float
    at: Floats
    likelihood: Floats
    log_highest: Floats

    @classmethod
    def of(cls, fields: Sequence[DriverEvidence]) -> Curves:
        """The curves of some fields; at least one."""
        prior_sd = max(field.prior_sd for field in fields)
        at = prior_sd * np.linspace(-REACH, REACH, STEPS)
        logs = np.stack([_log_curve(field, at) for field in fields])
        highest = logs.max(axis=1)
        return cls(fields, prior_sd, at, np.maximum(np.exp(logs - highest[:, None]), LEAST), highest)

    @property
    def step(self) -> float:
        """Between one slope and the next."""
        return float(self.at[1] - self.at[0])

    def blocks(self) -> list[slice]:
        """The fields in blocks."""
        return [slice(start, start + BLOCK) for start in range(0, len(self.fields), BLOCK)]

    def log_at(self, slopes: Floats) -> Floats:
        """Logarithm of `likelihood` at other slopes, ``[field, slope]``; to the same constant, wherever these slopes lie."""
        logs = np.stack([_log_curve(field, slopes) for field in self.fields])
        return np.asarray(np.maximum(logs - self.log_highest[:, None], np.log(LEAST)))

    def own(self) -> Floats:
        """Each field's own posterior in shares of 1 on `at`, ``[field, slope]``."""
        logs = -0.5 * (self.at / np.array([[field.prior_sd] for field in self.fields])) ** 2
        shares = self.likelihood * np.exp(logs)
        return np.asarray(shares / shares.sum(axis=1, keepdims=True))


def spreading(at: Floats, means: Floats, sd: float) -> Floats:
    """Shares of normals over even steps, ``[slope, mean]``; all of each lies on the steps.

    A curve that says nothing stays flat under these, however near the end a mean lies.
    `sd` is at least a step.
    """
    shares = np.exp(-0.5 * ((at[:, None] - means) / sd) ** 2)
    return np.asarray(shares / shares.sum(axis=0))


def _log_curve(field: DriverEvidence, at: Floats) -> Floats:
    """Posterior over prior."""
    weights, means, sds = (np.array(part)[:, None] for part in (field.weights, field.means, field.sds))
    # of a weight of 0 nothing comes
    logs = np.log(np.maximum(weights, 1e-300) / sds) - 0.5 * ((at - means) / sds) ** 2
    highest = logs.max(axis=0)
    return np.asarray(highest + np.log(np.exp(logs - highest).sum(axis=0)) + 0.5 * (at / field.prior_sd) ** 2)
