"""Several machines in one field brought to one level.

Yield sensors of two machines rarely agree to better than several percent. Where their
passes lie side by side the ground is the same, so the ratio of neighbouring records tells
the machines apart (Maldaner, Molin, Canata 2016, ICPA: factors from neighbouring points of
different machines). Factors pass by pass would also flatten the strips of a trial: there
is one a machine, shrunk towards none, and off unless it is asked for.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from scipy.spatial import cKDTree

from lossmap.base.estimates import Z90, Estimate
from lossmap.base.grid import Floats
from lossmap.clean.track import Mask, Whole

__all__ = ["as_estimates", "machine_factors"]

# Fewer neighbouring pairs of two machines tell nothing about them.
LEAST_PAIRS = 30

# Sensors of two machines differ by about this much (log; common practice, no source): what
# the pairs say is weighed against it.
USUAL_DIFFERENCE = 0.10

# Records along a pass repeat one another: about this many make one independent pair.
ALIKE_ALONG = 10.0


def machine_factors(
    easting_m: Floats, northing_m: Floats, yield_kg_ha: Floats, machine: Whole, believed: Mask, width_m: float
) -> tuple[Floats, Floats]:
    """What each machine's yield is to be multiplied by, the mass of all that are compared kept.

    Parameters
    ----------
    easting_m, northing_m, yield_kg_ha : array, ``[record]``
    machine : array of int
        Number of each record's machine, from 0.
    believed : array of bool
    width_m : float
        The header's; machines' records within two of it are neighbours.

    Returns
    -------
    (factor, log_sd) : arrays, ``[machine]``
        Factor 1 and sd NaN for a machine with fewer than 30 neighbouring pairs.
    """
    machines = int(machine.max()) + 1 if machine.size else 0
    factor, doubt = np.ones(machines), np.full(machines, np.nan)
    rows = np.flatnonzero(believed & (yield_kg_ha > 0) & np.isfinite(easting_m))
    log = np.log(np.where(yield_kg_ha > 0, yield_kg_ha, 1.0))
    places = np.column_stack([easting_m, northing_m])
    information, pull = _compared(places, log, [rows[machine[rows] == one] for one in range(machines)], 2 * width_m)
    touched = information.diagonal() > 0
    if not touched.any():
        return factor, doubt
    # a prior at no difference shrinks what few pairs say, and settles the level that pairs leave open
    precision = information[np.ix_(touched, touched)] + np.eye(int(touched.sum())) / USUAL_DIFFERENCE**2
    covariance = np.linalg.inv(precision)
    factor[touched] = np.exp(-covariance @ pull[touched])
    doubt[touched] = np.sqrt(covariance.diagonal())
    mass = np.bincount(machine[rows], yield_kg_ha[rows], machines)[touched]
    factor[touched] = factor[touched] * mass.sum() / (factor[touched] @ mass)
    return factor, doubt


def as_estimates(factor: Floats, log_sd: Floats, names: list[str]) -> dict[str, Estimate]:
    """Factors by machine's name with their 90 % intervals; those that could not be told are left out."""
    known = [(name, value, sd) for name, value, sd in zip(names, factor, log_sd, strict=True) if math.isfinite(sd)]
    return {name: Estimate(value, value * math.exp(-Z90 * sd), value * math.exp(Z90 * sd)) for name, value, sd in known}


def _compared(places: Floats, log: Floats, of: list[Whole], within_m: float) -> tuple[Floats, Floats]:
    """What all pairs of machines say of their levels: information ``[machine, machine]`` and pull ``[machine]``."""
    information, pull = np.zeros((len(of), len(of))), np.zeros(len(of))
    for one, other in itertools.combinations(range(len(of)), 2):
        difference = _differences(places, log, of[one], of[other], within_m)
        if difference.size >= LEAST_PAIRS:
            weight = difference.size / ALIKE_ALONG / max(float(difference.var()), 1e-6)
            information[[one, other], [one, other]] += weight
            information[[one, other], [other, one]] -= weight
            pull[[one, other]] += weight * difference.mean() * np.array([1.0, -1.0])
    return information, pull


def _differences(places: Floats, log: Floats, one: Whole, other: Whole, within_m: float) -> Floats:
    """Log yield of each record of `one` less that of the nearest of `other`, where there is one near enough."""
    if not one.size or not other.size:
        return np.zeros(0)
    away, near = cKDTree(places[other]).query(places[one], distance_upper_bound=within_m)
    found = np.isfinite(away)
    return np.asarray(log[one[found]] - log[other[near[found]]])
