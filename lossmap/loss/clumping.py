"""How clumped seed lies in a field, estimated by moments from its own counts.

Clumping is the variance that one frame has beyond a Poisson count's, over the squared mean.
It is told by repeated rows of a stop and position where there are such, else by the smaller
of what neighbouring stops and the positions of one stop say (both also see what differs for
other reasons, and can only make it look larger than it is), and shrunk towards `USUAL_CLUMPING`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

from lossmap.loss.tally import Tally

__all__ = ["USUAL_CLUMPING", "clumping"]

#: What is usual (common practice, no source), and how many pairs of counts it takes to say as much.
USUAL_CLUMPING, CLUMPING_PAIRS = 0.25, 12.0
LEAST_CLUMPING, MOST_CLUMPING = 0.02, 2.0
# Fewer pairs than this tell nothing.
LEAST_PAIRS = 4
# How much places differ over a field (relative sd).
PLACES_DIFFER = 0.5


def clumping(counts: gpd.GeoDataFrame, tally: Tally) -> float:
    """Variance beyond Poisson's of one frame, over the squared mean [-].

    Parameters
    ----------
    counts : COUNTS
    tally : Tally
        Of the same counts.

    Returns
    -------
    float
        `USUAL_CLUMPING` where nothing was counted twice near one another.
    """
    estimates = [_repeats(counts)]
    if not estimates[0].pairs:
        # Each also sees what differs for other reasons, so the smaller one is nearer.
        estimates = [estimate for estimate in (_neighbours(tally), _positions(tally)) if estimate.pairs]
    if not estimates:
        return USUAL_CLUMPING
    nearest = min(estimates, key=lambda estimate: estimate.ratio(math.inf))
    shrunk = (nearest.pairs * nearest.ratio(USUAL_CLUMPING) + CLUMPING_PAIRS * USUAL_CLUMPING) / (nearest.pairs + CLUMPING_PAIRS)
    return float(np.clip(shrunk, LEAST_CLUMPING, MOST_CLUMPING))


@dataclass(frozen=True)
class _Moments:
    """Variance beyond Poisson's summed over pairs of counts, what that sum would be at a clumping of 1, and how many pairs there are."""

    excess: float = 0.0
    scale: float = 0.0
    pairs: int = 0

    def ratio(self, otherwise: float) -> float:
        """The clumping, or `otherwise` where nothing was found to tell it by."""
        return self.excess / self.scale if self.scale > 0 else otherwise


def _repeats(counts: gpd.GeoDataFrame) -> _Moments:
    """From rows that repeat a stop and position, on like areas."""
    rows = counts[counts["seeds"].notna()]
    by = rows.groupby(["stop_id", "position", "frame_m2"], sort=False)
    groups = by["seeds"].agg(["count", "mean", "var"])
    groups = groups[groups["count"] > 1]
    if groups.empty:
        return _Moments()
    freedom = groups["count"] - 1
    frames = by["frames"].mean()[groups.index]
    # a mean of few counts lies off its truth, and its square above the truth's by the variance of the mean
    square = groups["mean"] ** 2 - groups["var"] / groups["count"]
    return _Moments(float((freedom * (groups["var"] - groups["mean"])).sum()), float((freedom * square / frames).sum()), int(freedom.sum()))


def _neighbours(tally: Tally) -> _Moments:
    """From each stop and the one nearest to it, at the position counted most often.

    Half of what places differ by over a field is taken off: neighbours share the rest.
    """
    place = int(np.isfinite(tally.seeds).sum(axis=0).argmax())
    known = np.isfinite(tally.seeds[:, place])
    if known.sum() < LEAST_PAIRS:
        return _Moments()
    where = shapely.get_coordinates(tally.places[known])
    _, near = cKDTree(where).query(where, k=2)
    # of stops at one and the same place either may come first, the stop itself too
    other = np.where(near[:, 1] == np.arange(len(where)), near[:, 0], near[:, 1])
    rate, area = tally.seeds[known, place] / tally.area[known, place], tally.area[known, place]
    counting = rate / area + rate[other] / area[other]
    # the product of two counts is the squared mean, where the square of their middle would hold their scatter too
    square = rate * rate[other]
    excess = (rate - rate[other]) ** 2 - counting - PLACES_DIFFER**2 * square
    scale = square * tally.frame_m2 * (1 / area + 1 / area[other])
    return _Moments(float(excess.sum()), float(scale.sum()), int(known.sum()) // 2)


def _positions(tally: Tally) -> _Moments:
    """From what lies in front of and behind the combine at one stop, which rise and fall together."""
    known = np.isfinite(tally.seeds[:, 1:]).all(axis=1)
    front, behind = (tally.seeds[known, 1:] / tally.area[known, 1:]).T
    if known.sum() < LEAST_PAIRS or front.sum() == 0:
        return _Moments()
    front_m2, behind_m2 = tally.area[known, 1:].T
    by = behind.sum() / front.sum()
    excess = (behind - by * front) ** 2 - behind / behind_m2 - by**2 * front / front_m2
    scale = by * front * behind * tally.frame_m2 * (1 / front_m2 + 1 / behind_m2)
    return _Moments(float(excess.sum()), float(scale.sum()), int(known.sum()))
