"""Spike and slab: which fields have a slope at all.

Random effects draw every field towards the season's mean, those too whose loss does not go
with the driver. Whether one field's verdict may rest on the season is therefore asked of
another model: a share of the fields has a slope, normal with mean ``mu`` and standard
deviation ``tau`` between them, and all others have none::

    likelihood of a field = (1 - share) curve(0) + share integral of curve(b) N(b; mu, tau^2) db

The season itself tells share, mu and tau: their posterior is summed over a grid, so that
where no field has a slope, the share that is learned makes borrowing dear.
"""

from __future__ import annotations

import numpy as np

from lossmap.base.grid import Floats
from lossmap.pool.curves import Curves, spreading
from lossmap.pool.effects import TAU_SD

__all__ = ["chances"]

# As in one field's fit a driver is in or out of the season with equal chance; if it is in, every share is as likely as any other.
SHARES = np.append(0.0, (np.arange(10) + 0.5) / 10)
OF_SHARES = np.append(0.5, np.full(10, 0.05))
# In prior standard deviations of a slope.
TAUS = np.array([0.05, 0.15, 0.3, 0.5, 0.75, 1.1])
MEANS_EVERY = 4


def chances(curves: Curves) -> Floats:
    """Posterior chance that a field has a slope and that it is above 0, ``[field]``."""
    grid = _Grid(curves)
    season = grid.posterior()
    return np.concatenate([grid.above_nothing(block, season) for block in curves.blocks()])


class _Grid:
    """Every mean and spread of the slab, as columns of one matrix."""

    def __init__(self, curves: Curves) -> None:
        self.curves, scale = curves, curves.prior_sd
        means = curves.at[::MEANS_EVERY]
        self.slab = np.hstack([spreading(curves.at, means, tau * scale) for tau in TAUS])
        widths = np.diff(np.concatenate([[0.0], (TAUS[1:] + TAUS[:-1]) / 2, TAUS[-1:]]))
        of_tau = np.exp(-0.5 * (TAUS / TAU_SD) ** 2) * widths
        prior = np.outer(of_tau, np.exp(-0.5 * (means / scale) ** 2)).ravel()
        self.prior = prior / prior.sum()
        self.nothing = int(curves.at.size // 2)

    def posterior(self) -> Floats:
        """Of share, and mean and spread, ``[share, slab]``; adds to 1."""
        logs = np.log(np.outer(OF_SHARES, self.prior))
        for block in self.curves.blocks():
            spike, slab = self._likelihoods(block)
            for row, share in enumerate(SHARES):
                logs[row] += np.log((1 - share) * spike + share * slab).sum(axis=0)
        out = np.exp(logs - logs.max())
        return np.asarray(out / out.sum())

    def above_nothing(self, block: slice, season: Floats) -> Floats:
        """Of each field of the block, ``[field]``."""
        spike, slab = self._likelihoods(block)
        above = self.curves.likelihood[block].copy()
        above[:, : self.nothing] = 0.0
        above[:, self.nothing] /= 2
        above = above @ self.slab
        out = np.zeros(len(above))
        for share, of_slab in zip(SHARES, season, strict=True):
            out += (share * above / ((1 - share) * spike + share * slab)) @ of_slab
        return out

    def _likelihoods(self, block: slice) -> tuple[Floats, Floats]:
        """Of each field without a slope ``[field, 1]`` and with one ``[field, slab]``."""
        curve = self.curves.likelihood[block]
        return curve[:, [self.nothing]], curve @ self.slab
