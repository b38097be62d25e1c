"""Gaussian process with negative-binomial counts: the mode and the evidence of many models at once.

Rasmussen & Williams (2006), algorithms 3.1 and 3.2 (from memory), for a batch of kernels
that differ in hyper-parameters. One array operation steps the whole batch, which is what
makes a sum over hundreds of models cheaper than one run of an optimiser.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from lossmap.base.grid import Floats

__all__ = ["Counts", "Fit", "laplace"]

MOST_STEPS = 40
# A step of g no longer than this keeps Newton's first steps inside where the curvature holds.
LONGEST_STEP = 2.0
# Newton's error is squared with each step: after one this short it is past caring about.
TOLERANCE = 1e-3


@dataclass(frozen=True)
class Counts:
    """What was counted at each stop.

    Attributes
    ----------
    seeds : array, ``[stop]``
        Counts, not necessarily whole.
    expected : array, ``[stop]``
        Seeds where g is 0: area times the field's rate.
    share : array, ``[stop]``
        Area over the mean area; clumping averages out over a larger one, so the size of
        the negative binomial grows with it.
    """

    seeds: Floats
    expected: Floats
    share: Floats

    def slopes(self, g: Floats, size: Floats) -> tuple[Floats, Floats]:
        """First derivative and negative second derivative of the log likelihood in g."""
        mean = self.expected * np.exp(g)
        of_mean = mean / (size + mean)
        gradient = self.seeds - (self.seeds + size) * of_mean
        return gradient, (self.seeds + size) * of_mean * (1 - of_mean)

    def log_likelihood(self, g: Floats, size: Floats) -> Floats:
        """Log likelihood summed over stops, ``[model]``."""
        mean = self.expected * np.exp(g)
        each = self.seeds * np.log(mean) + size * np.log(size) - (self.seeds + size) * np.log(size + mean)
        of_size = gammaln(self.seeds + size) - gammaln(size) - gammaln(self.seeds + 1)
        return np.asarray((each + of_size).sum(axis=-1))

    def expected_curvature(self, size: Floats) -> Floats:
        """What `slopes` would give on average where g is 0: the information in an area, no seed counted yet."""
        return self.expected * size / (size + self.expected)


@dataclass(frozen=True)
class Fit:
    """Posterior of g at the stops under each model of a batch.

    Attributes
    ----------
    mode : array, ``[model, stop]``
        Likeliest g.
    gradient : array, ``[model, stop]``
        Of the log likelihood at the mode; the mode is kernel times this.
    precision : array, ``[model, stop, stop]``
        ``(K + 1/W)^-1``, with W the negative second derivatives at the mode.
    log_evidence : array, ``[model]``
    """

    mode: Floats
    gradient: Floats
    precision: Floats
    log_evidence: Floats


def laplace(counts: Counts, kernels: Floats, size: Floats, start: Floats | None = None) -> Fit:
    """Find each model's mode and evidence.

    Parameters
    ----------
    counts : Counts
    kernels : array, ``[model, stop, stop]``
        Prior covariance of g.
    size : array, ``[model]``
        Size of the negative binomial on an area of mean size; large means no clumping.
    start : array, ``[model, stop]``, optional
        Where to step from; 0 where not given.
    """
    sizes = size[:, None] * counts.share
    g = _mode(counts, kernels, sizes, np.zeros(kernels.shape[:2]) if start is None else start.copy())
    gradient, curvature = counts.slopes(g, sizes)
    root = np.sqrt(curvature)
    inner = _inner(kernels, root)
    precision = root[:, :, None] * np.linalg.inv(inner) * root[:, None, :]
    log_det = 2 * np.log(np.linalg.cholesky(inner).diagonal(axis1=1, axis2=2)).sum(axis=1)
    fit = -0.5 * np.einsum("ji,ji->j", gradient, g) + counts.log_likelihood(g, sizes)
    return Fit(g, gradient, precision, fit - log_det / 2)


def _mode(counts: Counts, kernels: Floats, sizes: Floats, g: Floats) -> Floats:
    """Newton's steps for the whole batch, until none moves any more."""
    for _ in range(MOST_STEPS):
        gradient, curvature = counts.slopes(g, sizes)
        root = np.sqrt(curvature)
        pull = (curvature * g + gradient)[:, :, None]
        solved = np.linalg.solve(_inner(kernels, root), root[:, :, None] * (kernels @ pull))
        step = (kernels @ (pull - root[:, :, None] * solved))[:, :, 0] - g
        furthest = np.abs(step).max(axis=1)
        g += step * np.minimum(1.0, LONGEST_STEP / np.maximum(furthest, 1e-300))[:, None]
        if furthest.max() < TOLERANCE:
            break
    return g


def _inner(kernels: Floats, root: Floats) -> Floats:
    """``1 + W^1/2 K W^1/2``, whose eigenvalues are at least 1: safe to solve with."""
    inner = root[:, :, None] * kernels * root[:, None, :]
    inner[:, np.arange(root.shape[1]), np.arange(root.shape[1])] += 1
    return inner
