"""Posterior of seed lost before, at and behind the header of one stop, given its counts.

Seed only ever adds up along the combine's way: intensities are P, P + H and P + H + R T at
the three positions, all of P, H, T at least 0, with R the width ratio. Counts are negative
binomial around them. Each of P, H, T has an exponential prior whose mean is three times
the field's own, so one stop is judged beside its field but hardly drawn to it. Three numbers a stop
are integrated on a fixed lattice, spaced evenly in the square root, where a count's doubt
is the same everywhere.
"""

from __future__ import annotations

import numpy as np

from lossmap.base.grid import Floats

__all__ = ["POINTS", "PRIOR_OVER_FIELD", "posterior", "rates"]

# How far above the field's mean a stop may easily lie. At 1 the interval of a small source often ends at
# the stop's own plain difference; beyond 4 it grows for nothing.
PRIOR_OVER_FIELD = 3.0

# The lattice of the posterior: steps a source, and how far it reaches in standard errors.
STEPS, REACH = 24, 4.5
#: Points a posterior is read off at.
POINTS = 2048
# Fractional parts that fill the unit cube evenly (a Kronecker sequence).
GOLDEN = (0.8191725133961645, 0.6710436067037893, 0.5497004779019703)
# Stops integrated together: 64 lattices of 24^3 are 7 MB.
STOPS_TOGETHER = 64


def posterior(counted: Floats, area: Floats, ratio: float, clumping_m2: float) -> Floats:
    """Points of the posterior of P, H and T [1/m2], ``[source, stop, point]``, each point as likely as the next.

    `clumping_m2` is clumping times the area of one frame: on another area it is that much
    over it. A source that no stop of the field can tell from the next is held at 0, and
    the next carries both; where nothing was counted at all, all points are 0.
    """
    out = np.zeros((3, len(counted), POINTS))
    if not np.isfinite(counted).any():
        return out
    prior = _prior_means(counted, area, ratio)
    for start in range(0, len(counted), STOPS_TOGETHER):
        rows = slice(start, start + STOPS_TOGETHER)
        edges = _edges(counted[rows], area[rows], ratio, clumping_m2, prior)
        out[:, rows] = _read_off(_weights(counted[rows], area[rows], ratio, clumping_m2, prior, edges), edges)
    return out


def _prior_means(counted: Floats, area: Floats, ratio: float) -> Floats:
    """Means of the exponential priors of P, H and T [1/m2]; 0 holds a source at 0."""
    before, front, behind = rates(counted, area)
    floor = 0.5 / np.nansum(area)
    preharvest = max(before, floor) if np.isfinite(before) else 0.0
    lying = front if np.isfinite(front) else preharvest
    header = max(front - preharvest, floor) if np.isfinite(front) else 0.0
    threshing = max((behind - lying) / ratio, floor) if np.isfinite(behind) else 0.0
    return PRIOR_OVER_FIELD * np.array([preharvest, header, threshing])


def _edges(counted: Floats, area: Floats, ratio: float, clumping_m2: float, prior: Floats) -> list[Floats]:
    """Square roots between which each step of the lattice lies, ``[stop, edge]`` a source."""
    rate = (counted + 0.5) / area
    reach = REACH / 2 * np.sqrt(1 / area + clumping_m2 / area * rate) + 1 / np.sqrt(area)
    far = 8 * prior.sum() * max(1.0, ratio)
    low = np.where(np.isnan(counted), 0.0, np.maximum(np.sqrt(rate) - reach, 0.0) ** 2)
    high = np.where(np.isnan(counted), far, (np.sqrt(rate) + reach) ** 2)
    least_area = np.where(np.isnan(area), np.nanmean(area), area)
    before_low, before_high = np.zeros(len(counted)), np.zeros(len(counted))
    edges: list[Floats] = []
    for source in range(3):
        by = ratio if source == 2 else 1.0
        least = np.maximum(low[:, source] - before_high, 0.0) / by
        most = np.maximum(high[:, source] - before_low, 3 / least_area[:, source]) / by
        if prior[source] == 0:
            least, most = np.zeros(len(counted)), np.zeros(len(counted))
        edges.append(np.linspace(np.sqrt(least), np.sqrt(most), STEPS + 1 if prior[source] else 2, axis=1))
        before_low = np.maximum(low[:, source], before_low)
        before_high = np.maximum(np.minimum(high[:, source], before_high + most * by), before_low)
    return edges


def _weights(counted: Floats, area: Floats, ratio: float, clumping_m2: float, prior: Floats, edges: list[Floats]) -> Floats:
    """Posterior of each step of the lattice, ``[stop, P, H, T]``, adding to 1 a stop."""
    along = [(slice(None), slice(None), None, None), (slice(None), None, slice(None), None), (slice(None), None, None, slice(None))]
    middles = [((edge[:, 1:] + edge[:, :-1]) / 2) ** 2 for edge in edges]
    preharvest, header, threshing = (part[axis] for part, axis in zip(middles, along, strict=True))
    lying = (preharvest, preharvest + header, preharvest + header + ratio * threshing)
    log = np.zeros((len(counted), *(part.shape[1] for part in middles)))
    for place, rate in enumerate(lying):
        log += _log_likelihood(counted[:, place], area[:, place], rate, clumping_m2)
    for part, mean, edge, axis in zip(middles, prior, edges, along, strict=True):
        if mean:
            log += (np.log(edge[:, 1:] ** 2 - edge[:, :-1] ** 2) - part / mean)[axis]
    weight = np.exp(log - log.max(axis=(1, 2, 3), keepdims=True))
    return np.asarray(weight / weight.sum(axis=(1, 2, 3), keepdims=True))


def _log_likelihood(counted: Floats, area: Floats, rate: Floats, clumping_m2: float) -> Floats:
    """Of the negative binomial (Poisson without clumping), up to what does not depend on `rate`; 0 where not counted."""
    known = np.isfinite(counted)
    seeds, looked_at = (np.where(known, part, other).reshape(-1, 1, 1, 1) for part, other in ((counted, 0.0), (area, 1.0)))
    mean = looked_at * np.maximum(rate, 1e-12)
    if clumping_m2 > 0:
        size = looked_at / clumping_m2
        log = seeds * np.log(mean) - (seeds + size) * np.log1p(mean / size)
    else:
        log = seeds * np.log(mean) - mean
    return np.where(known.reshape(-1, 1, 1, 1), log, 0.0)


def _read_off(weight: Floats, edges: list[Floats]) -> Floats:
    """Points as many in a step as it is likely, ``[source, stop, point]``; within it they lie evenly in the square root."""
    stops = len(weight)
    below = np.cumsum(weight.reshape(stops, -1), axis=1)
    levels = (np.arange(POINTS) + 0.5) / POINTS
    flat = np.stack([np.searchsorted(row, levels * row[-1]) for row in below])
    out = np.empty((3, stops, POINTS))
    for source, (edge, step) in enumerate(zip(edges, np.unravel_index(flat, weight.shape[1:]), strict=True)):
        left, right = (np.take_along_axis(edge, step + side, axis=1) for side in (0, 1))
        # Golden-ratio steps spread points evenly however many fall together.
        within = np.arange(POINTS) * GOLDEN[source] % 1
        out[source] = (left + within * (right - left)) ** 2
    return out


def rates(seeds: Floats, area: Floats) -> Floats:
    """Mean intensity at each position over the field [seeds/m2], never quite 0; NaN where never counted."""
    known = np.isfinite(seeds).any(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(known, (np.nansum(seeds, axis=0) + 0.5) / np.nansum(area, axis=0), np.nan)
