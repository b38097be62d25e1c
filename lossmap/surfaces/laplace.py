"""Gaussian processes seen through negative-binomial counts: the mode and the evidence of many models at once.

The counts tell one or more parts of the loss apart. What is not seen (latent) is one
Gaussian process h a part, about the logarithm of that part. With w the shares of the parts
where all h are 0, the loss as a whole and what a count sees of it are taken as::

    total = exp(sum over parts of w h)
    mean  = total * (sum over parts of expected exp(h)) / (sum over parts of w exp(h))

so that the logarithm of the total is normal when h is, and each part is close to
``w exp(h)``. With `lever` the change of the logarithm of that mean for a change of each h
(they add to 1), at every step one number a count is seen, linearly:

* its prior covariance over counts is ``C = (sd^2 k + own) * lever lever' + level + h S h'``,
  with ``own`` and ``level`` the prior variances of what parts' intercepts have alone and
  together, ``h`` here the hinges that all parts share and ``S`` the prior variances of their slopes;
* the posterior follows from ``(C + 1/W)^-1``, W the curvature of each count's likelihood in
  the logarithm of its mean. For one part this is Newton's method and Laplace's
  approximation (Rasmussen & Williams 2006, algorithms 3.1 and 3.2, from memory); for
  several it is Gauss and Newton's, which leaves out how the levers bend.

All is done for a batch of models that differ in hyper-parameters: one array operation steps
the whole batch, which is what makes a sum over hundreds of models cheaper than one run of
an optimiser.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from lossmap.base.grid import Floats

__all__ = ["Fit", "Likelihood", "Prior", "laplace"]

MOST_STEPS = 40
# A step of g no longer than this keeps the first steps inside where the curvature holds.
LONGEST_STEP = 2.0


@dataclass(frozen=True)
class Likelihood:
    """What was counted, and how likely that is at any latents.

    Attributes
    ----------
    seeds : array, ``[count]``
        Not necessarily whole.
    expected : array, ``[count, part]`` or ``[model, count, part]``
        Seeds of each part where all latents are 0: area times rate, 0 for a part that the count does not see.
    worth : array, ``[part]`` or ``[model, part]``
        Share of each part in the total where all latents are 0; adds to 1.
    breadth : array, ``[count]``
        Area over the mean area; clumping averages out over a larger one, so the size of
        the negative binomial grows with it.
    """

    seeds: Floats
    expected: Floats
    worth: Floats
    breadth: Floats

    def of(self, chosen: npt.NDArray[np.bool_]) -> Likelihood:
        """As the models chosen of a batch see them."""
        return self if self.worth.ndim == 1 else Likelihood(self.seeds, self.expected[chosen], self.worth[chosen], self.breadth)

    def seen(self, h: Floats) -> tuple[Floats, Floats]:
        """Mean of each count ``[..., count]`` and its lever on each part ``[..., count, part]``, at latents `h`."""
        parts = np.exp(h)
        if h.shape[-1] == 1:
            return parts[..., 0] * self.expected[..., 0], np.ones_like(parts)
        worth = self.worth[..., None, :]
        here, everything = self.expected * parts, worth * parts
        seen, whole = here.sum(axis=-1), everything.sum(axis=-1)
        mean = np.exp((h @ worth.swapaxes(-1, -2))[..., 0]) * seen / whole
        return mean, worth + here / seen[..., None] - everything / whole[..., None]

    def slopes(self, mean: Floats, size: Floats) -> tuple[Floats, Floats]:
        """First derivative and negative second derivative of the log likelihood in the logarithm of the mean."""
        of_mean = mean / (size + mean)
        gradient = self.seeds - (self.seeds + size) * of_mean
        return gradient, (self.seeds + size) * of_mean * (1 - of_mean)

    def log_likelihood(self, mean: Floats, size: Floats) -> Floats:
        """Log likelihood summed over counts, ``[model]``."""
        each = self.seeds * np.log(mean) + size * np.log(size) - (self.seeds + size) * np.log(size + mean)
        of_size = gammaln(self.seeds + size) - gammaln(size) - gammaln(self.seeds + 1)
        return np.asarray((each + of_size).sum(axis=-1))

    def expected_curvature(self, size: Floats) -> Floats:
        """What `slopes` would give on average where all latents are 0: the information in an area, no seed counted yet."""
        mean = self.expected.sum(axis=-1)
        return np.asarray(mean * size / (size + mean))


@dataclass(frozen=True)
class Prior:
    """Covariance of the latents under each model of a batch; parts share level and slopes and are independent beside them.

    Attributes
    ----------
    kernel : array, ``[model, count, count]``
        Covariance of one part's process between the places of the counts.
    level, own : float
        Variance of the intercept that parts share, and of that which each has alone.
    hinges : array, ``[count, hinge]``
        How far each count's place is beyond each knot.
    variance : array, ``[hinge]``
        Of each slope.
    """

    kernel: Floats
    level: float
    own: float
    hinges: Floats
    variance: Floats

    def of(self, chosen: npt.NDArray[np.bool_]) -> Prior:
        """The models chosen."""
        return Prior(self.kernel[chosen], self.level, self.own, self.hinges, self.variance)

    def covariance(self, lever: Floats) -> Floats:
        """Of the logarithms of the counts' means, ``[model, count, count]``."""
        if lever.shape[-1] == 1:
            return np.asarray(self.kernel + (self.own + self.shared()))
        alike = lever @ lever.swapaxes(-1, -2)
        together = np.asarray(alike * self.kernel)
        together += self.own * alike
        together += self.shared()
        return together

    def shared(self) -> Floats:
        """Covariance of what all parts share, ``[count, count]``."""
        return np.asarray(self.level + (self.hinges * self.variance) @ self.hinges.T)

    def back(self, lever: Floats, pull: Floats) -> Floats:
        """Latents at each count's place from one number a count, ``[model, count, part]``."""
        pulls = lever * pull[:, :, None]
        own = self.kernel @ pulls + self.own * pulls.sum(axis=1, keepdims=True)
        return np.asarray(own + (pull @ self.shared())[:, :, None])


@dataclass(frozen=True)
class Fit:
    """Posterior of the latents at the counts under each model of a batch.

    Attributes
    ----------
    mode : array, ``[model, count, part]``
        Likeliest latents at the place of each count.
    lever : array, ``[model, count, part]``
    gradient : array, ``[model, count]``
        Of the log likelihood in the logarithm of the count's mean, where the last step
        ends; the mode is prior covariance times this.
    curvature : array, ``[model, count]``
        W, of each count's likelihood in the logarithm of its mean.
    precision : array, ``[model, count, count]``
        ``(C + 1/W)^-1``.
    log_evidence : array, ``[model]``
    """

    mode: Floats
    lever: Floats
    gradient: Floats
    curvature: Floats
    precision: Floats
    log_evidence: Floats


def laplace(likelihood: Likelihood, prior: Prior, size: Floats, tolerance: float, start: Floats | None = None) -> Fit:
    """Find each model's mode and evidence.

    Parameters
    ----------
    likelihood : Likelihood
    prior : Prior
    size : array, ``[model]``
        Size of the negative binomial on an area of mean size; large means no clumping.
    tolerance : float
        A model whose latents moved by no more than this in its last step has arrived. The error
        that is left is about its square for one part and smaller than it for several.
    start : array, ``[model, count, part]``, optional
        Where to step from; 0 where not given.
    """
    sizes = size[:, None] * likelihood.breadth
    g = np.zeros((len(size), *likelihood.expected.shape[-2:])) if start is None else start.copy()
    _step_to_mode(likelihood, prior, sizes, g, tolerance)
    view = _View(likelihood, prior, sizes, g)
    precision = view.root[:, :, None] * np.linalg.inv(view.inner) * view.root[:, None, :]
    log_det = 2 * np.log(np.linalg.cholesky(view.inner).diagonal(axis1=1, axis2=2)).sum(axis=1)
    # one more step for nothing: mean, doubt and evidence then belong to one and the same linear view
    pull = np.einsum("jcd,jd->jc", precision, view.target)
    g = prior.back(view.lever, pull)
    roughness = np.einsum("jc,jcl,jcl->j", pull, view.lever, g)
    fit = likelihood.log_likelihood(likelihood.seen(g)[0], sizes) - roughness / 2
    return Fit(g, view.lever, pull, view.root**2, precision, fit - log_det / 2)


class _View:
    """The counts straightened out at `g`: each says that the logarithm of its mean lies at `target`, give or take 1 / root."""

    def __init__(self, likelihood: Likelihood, prior: Prior, sizes: Floats, g: Floats) -> None:
        mean, self.lever = likelihood.seen(g)
        gradient, curvature = likelihood.slopes(mean, sizes)
        self.root = np.sqrt(curvature)
        self.target = (self.lever * g).sum(axis=-1) + gradient / curvature
        self.inner = _inner(prior.covariance(self.lever), self.root)


def _step_to_mode(likelihood: Likelihood, prior: Prior, sizes: Floats, g: Floats, tolerance: float) -> None:
    """Move `g` until no model moves any more."""
    moving, seen, own = np.arange(len(g)), likelihood, prior
    for _ in range(MOST_STEPS):
        view = _View(seen, own, sizes[moving], g[moving])
        pull = view.root * np.linalg.solve(view.inner, (view.root * view.target)[:, :, None])[:, :, 0]
        step = own.back(view.lever, pull) - g[moving]
        furthest = np.abs(step).max(axis=(1, 2))
        g[moving] += step * np.minimum(1.0, LONGEST_STEP / np.maximum(furthest, 1e-300))[:, None, None]
        left = furthest > tolerance
        if not left.any():
            return
        if not left.all():
            moving, seen, own = moving[left], seen.of(left), own.of(left)


def _inner(covariance: Floats, root: Floats) -> Floats:
    """``1 + W^1/2 C W^1/2``, whose eigenvalues are at least 1: safe to solve with; takes the place of `covariance`."""
    covariance *= root[:, :, None]
    covariance *= root[:, None, :]
    covariance[:, np.arange(root.shape[1]), np.arange(root.shape[1])] += 1
    return covariance
