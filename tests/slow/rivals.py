"""Other ways from the same counts to a surface, each with the predictive distribution that is its own.

All see loss in bu/ac at the stops. Each answers with quantiles of the loss at the places asked, so that
one score judges all alike; loss is never negative, so quantiles of a normal are cut at 0 (which only helps them).
"""

from __future__ import annotations

import warnings

import numpy as np
import numpy.typing as npt
from pykrige.ok import OrdinaryKriging
from scipy.spatial import cKDTree
from scipy.special import ndtri
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

Floats = npt.NDArray[np.floating]

#: Levels of the quantiles: middles of slices of equal probability.
LEVELS = (np.arange(50) + 0.5) / 50

#: Stops that a place takes its mean from (common practice, no source).
NEAREST = 12


def crps(truth: Floats, quantiles: Floats) -> Floats:
    """Continuous ranked probability score at each place: twice the pinball loss averaged over `LEVELS`, ``[place, level]`` in."""
    above = truth[:, None] - quantiles
    return np.asarray(2 * (np.maximum(above, 0) * LEVELS + np.maximum(-above, 0) * (1 - LEVELS)).mean(axis=1))


def field_mean(stops_m: Floats, loss: Floats, places_m: Floats) -> Floats:
    """One mean everywhere; its error as the stops left out in turn have it."""
    left_out = (loss - loss.mean()) * loss.size / (loss.size - 1)
    return _normal(np.full(len(places_m), loss.mean()), np.full(len(places_m), left_out.std()))


def inverse_distance(stops_m: Floats, loss: Floats, places_m: Floats) -> Floats:
    """The 12 nearest stops, weights 1 / distance^2; its error as the stops left out in turn have it."""
    tree, most = cKDTree(stops_m), min(NEAREST, loss.size - 1)
    away, nearest = tree.query(stops_m, most + 1)
    left_out = loss - _weighted(away[:, 1:], loss[nearest[:, 1:]])
    away, nearest = tree.query(places_m, most)
    return _normal(_weighted(away, loss[nearest]), np.full(len(places_m), np.sqrt(np.mean(left_out**2))))


def ordinary_kriging(stops_m: Floats, loss: Floats, places_m: Floats) -> Floats:
    """PyKrige with an exponential variogram and nugget that it fits itself; its kriging variance, normal."""
    kriging = OrdinaryKriging(*stops_m.T, loss, variogram_model="exponential")
    mean, variance = kriging.execute("points", *places_m.T)
    return _normal(np.asarray(mean), np.sqrt(np.maximum(np.asarray(variance), 1e-12)))


def root_process(stops_m: Floats, loss: Floats, places_m: Floats) -> Floats:
    """scikit-learn's Gaussian process on square roots of counts (Matern 3/2, white noise, fitted), squared again."""
    root = np.sqrt(loss)
    centre, unit = stops_m.mean(axis=0), 100.0
    kernel = ConstantKernel(0.1, (1e-4, 1e2)) * Matern(1.0, (0.1, 20.0), nu=1.5) + WhiteKernel(0.1, (1e-4, 1e1))
    process = GaussianProcessRegressor(kernel, n_restarts_optimizer=1, random_state=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)
        process.fit((stops_m - centre) / unit, root - root.mean())
    mean, sd = process.predict((places_m - centre) / unit, return_std=True)
    noise = float(process.kernel_.k2.noise_level)
    # the noise is that of counting, not of loss; what it adds to the mean of the squares is loss
    own = np.sqrt(np.maximum(sd**2 - noise, 1e-12))
    return np.asarray(np.maximum(root.mean() + mean[:, None] + own[:, None] * ndtri(LEVELS), 0) ** 2 + noise)


def _weighted(away_m: Floats, loss: Floats) -> Floats:
    weights = 1 / np.maximum(away_m, 1.0) ** 2
    return np.asarray((weights * loss).sum(axis=1) / weights.sum(axis=1))


def _normal(mean: Floats, sd: Floats) -> Floats:
    return np.asarray(np.maximum(mean[:, None] + sd[:, None] * ndtri(LEVELS), 0.0))


RIVALS = {
    "field mean": field_mean,
    "IDW (scipy)": inverse_distance,
    "ordinary kriging (PyKrige)": ordinary_kriging,
    "GP on square roots (scikit-learn)": root_process,
}
