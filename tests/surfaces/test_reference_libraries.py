"""The count model beside general libraries, in the limits where both must say the same."""

from __future__ import annotations

import numpy as np
import statsmodels.api as sm
from pykrige.ok import OrdinaryKriging
from scipy.spatial.distance import cdist
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern
from statsmodels.discrete.discrete_model import NegativeBinomial

from lossmap.surfaces.counted import Counted
from lossmap.surfaces.counts import CountModel
from lossmap.surfaces.laplace import Likelihood, Prior, laplace
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, RANGE, ROUGH, SIZE
from outside import agrees

SIDE_M = 800.0
LOG_SD, RANGE_M = 0.4, 150.0
#: Where (1 + x) exp(-x) is exp(-1).
FALLEN = 2.146
MANY = 1e9  # size of a negative binomial that is a Poisson


def in_space(rng, stops, sd=LOG_SD):
    """Random places and a log-Gaussian process there."""
    places = rng.uniform(0, SIDE_M, (stops, 2))
    root = np.linalg.cholesky(kernel(places, places, sd) + 1e-9 * np.eye(stops))
    return places, root @ rng.standard_normal(stops)


def kernel(some, others, sd=LOG_SD, range_m=RANGE_M):
    """Exponential covariance."""
    return sd**2 * np.exp(-cdist(some, others) / range_m)


def single(seeds, expected):
    """Likelihood of one part on areas of one size."""
    return Likelihood(np.asarray(seeds, float), np.asarray(expected, float)[:, None], np.ones(1), np.ones(len(seeds)))


def one_part(covariance, level, hinges, variance):
    """One model of one part: covariance of its process, prior variance of its level, hinges and the variances of their slopes."""
    return Prior(covariance[None], level, 0.0, hinges, variance)


def gaussian_limit(rng, stops, intercept):
    """Some 4,000 seeds at each stop, the fit at the true hyper-parameters, and what it says of log loss at 50 other places."""
    places, log = in_space(rng, stops)
    # areas are chosen so that each stop is as sure as the next: what kriging takes for granted
    expected = 4000 / np.exp(log)
    seeds = rng.poisson(4000, stops)
    prior = one_part(kernel(places, places), intercept, np.empty((stops, 0)), np.empty(0))
    fit = laplace(single(seeds, expected), prior, np.array([MANY]), 1e-6)
    elsewhere = rng.uniform(0, SIDE_M, (50, 2))
    reach = kernel(elsewhere, places) + intercept
    variance = LOG_SD**2 + intercept - np.einsum("ij,jk,ik->i", reach, fit.precision[0], reach)
    return places, np.log(seeds / expected), elsewhere, reach @ fit.gradient[0], np.sqrt(variance)


def test_without_space_slope_and_error_are_those_of_a_negative_binomial_regression():
    """No process, wide priors, one size: slope and standard error agree with statsmodels' GLM to a part in a thousand."""
    rng = np.random.default_rng(1)
    beyond, area, size = rng.uniform(0, 1.5, 60), rng.uniform(0.1, 0.5, 60), 3.0
    mean = 60 * area * np.exp(0.8 * beyond)
    seeds = rng.negative_binomial(size, size / (size + mean))
    prior = one_part(np.zeros((60, 60)), 1e4, beyond[:, None], np.array([1e4]))
    fit = laplace(single(seeds, 60 * area), prior, np.array([size]), 1e-8)
    slope = 1e4 * float(fit.gradient[0] @ beyond)
    # what is left of a wide prior: a difference of large numbers, whose rounding the tolerance allows for
    sd = np.sqrt(1e4 - 1e8 * float(beyond @ fit.precision[0] @ beyond))
    glm = sm.GLM(seeds, sm.add_constant(beyond), sm.families.NegativeBinomial(alpha=1 / size), offset=np.log(area)).fit(tol=1e-10)
    information = -glm.model.hessian(glm.params, observed=True)
    sd_of_theirs = np.sqrt(np.linalg.inv(information)[1, 1])
    agrees("slope of log loss, no process", "statsmodels GLM, negative binomial", slope, glm.params[1], 1e-3 * glm.params[1])
    agrees("its standard error", "statsmodels GLM, negative binomial", sd, sd_of_theirs, 1e-3 * sd_of_theirs)


def test_where_space_says_nothing_the_whole_model_is_a_regression_too():
    """Six fields of no process: slopes within a third of statsmodels' standard error on average, the error within 15 % of it."""
    off, ratio = [], []
    for rng_seed in range(6):
        rng = np.random.default_rng(rng_seed)
        places, beyond, area, size = rng.uniform(0, 4000, (80, 2)), rng.uniform(0, 1.2, 80), np.full(80, 0.37), 8.0
        seeds = rng.negative_binomial(size, size / (size + 65 * area * np.exp(0.8 * beyond)))
        found, sd = CountModel((2.0,)).fit(places, Counted.total(seeds, area), 2.0 + beyond).slopes_["speed"].moments()
        plain = NegativeBinomial(seeds, sm.add_constant(beyond), offset=np.log(area)).fit(disp=0)
        off.append((found - plain.params[1]) / plain.bse[1])
        ratio.append(sd / plain.bse[1])
    theirs = "statsmodels NegativeBinomial"
    agrees("slope of 6 made fields, mean difference [its standard errors]", theirs, np.mean(off), 0, 1 / 3)
    agrees("slope of 6 made fields, largest difference [its standard errors]", theirs, np.abs(off).max(), 0, 1)
    agrees("standard error of the slope, mean ratio", theirs, np.mean(ratio), 1.0, 0.15)


def test_with_thousands_of_seeds_the_surface_is_that_of_a_gaussian_process():
    """At fixed hyper-parameters, log loss and its doubt elsewhere agree with scikit-learn's process on log counts."""
    places, log, elsewhere, mean, sd = gaussian_limit(np.random.default_rng(3), 30, INTERCEPT_SD**2)
    covariance = ConstantKernel(LOG_SD**2) * Matern(RANGE_M, nu=0.5) + ConstantKernel(INTERCEPT_SD**2)
    process = GaussianProcessRegressor(covariance, alpha=1 / 4000, optimizer=None).fit(places, log)
    of_theirs, their_sd = process.predict(elsewhere, return_std=True)
    theirs = "scikit-learn GaussianProcessRegressor"
    agrees("log loss at 50 places, largest difference", theirs, np.abs(mean - of_theirs).max(), 0, 2e-3)
    agrees("its doubt, largest difference [of itself]", theirs, np.abs(sd / their_sd - 1).max(), 0, 5e-3)


def test_with_thousands_of_seeds_the_surface_is_that_of_kriging():
    """With no idea of the level beforehand, log loss and its doubt elsewhere agree with PyKrige's ordinary kriging."""
    places, log, elsewhere, mean, sd = gaussian_limit(np.random.default_rng(4), 30, 1e3)
    # PyKrige's range is where 95 % of the sill is reached: three of ours; its variance is of a new count, nugget included
    parameters = {"psill": LOG_SD**2, "range": 3 * RANGE_M, "nugget": 1 / 4000}
    kriging = OrdinaryKriging(*places.T, log, variogram_model="exponential", variogram_parameters=parameters, exact_values=False)
    of_theirs, variance = kriging.execute("points", *elsewhere.T)
    theirs = "PyKrige OrdinaryKriging"
    agrees("log loss at 50 places, largest difference", theirs, np.abs(mean - np.asarray(of_theirs)).max(), 0, 3e-3)
    agrees("its variance, largest difference [of itself]", theirs, np.abs(sd**2 / np.asarray(variance) - 1).max(), 0, 2e-2)


def test_the_sum_over_hyper_parameters_is_that_of_gaussian_processes():
    """Clumped but many seeds: the whole model's surface agrees with scikit-learn's processes, each weighted by its own evidence."""
    rng = np.random.default_rng(5)
    places, log = in_space(rng, 40)
    area, size = 50.0, SIZE[-1]
    seeds = rng.negative_binomial(size, size / (size + 60 * area * np.exp(log)))
    elsewhere = rng.uniform(0, SIDE_M, (60, 2))
    model = CountModel(diagonal_m=SIDE_M * 2**0.5).fit(places, Counted.total(seeds, np.full(40, area)))
    mean, variance = model.log_moments(elsewhere)
    of_theirs, their_variance = mixed_processes(places, np.log(seeds / area), elsewhere, float(np.log(model.level_)))
    theirs = "scikit-learn GaussianProcessRegressor, each combination by its evidence"
    agrees("log loss at 60 places, largest difference", theirs, np.abs(mean - of_theirs).max(), 0, 0.03)
    agrees("its doubt, largest difference [of itself]", theirs, np.abs(np.sqrt(variance / their_variance) - 1).max(), 0, 0.06)


def mixed_processes(places, log, elsewhere, level):
    """Mean and variance elsewhere under one process for each combination of the lattice, weighted by prior times evidence."""
    score, first, second = [], [], []
    for sd, step, size, prior in zip(LATTICE.sd, LATTICE.process, LATTICE.size, LATTICE.prior, strict=True):
        covariance = ConstantKernel(sd**2) * correlation(step) + ConstantKernel(INTERCEPT_SD**2)
        # log of a gamma variate of that size varies by about 1 / size; seeds themselves are too many to matter
        process = GaussianProcessRegressor(covariance, alpha=1 / size, optimizer=None).fit(places, log - level)
        mean, error = process.predict(elsewhere, return_std=True)
        score.append(process.log_marginal_likelihood_value_ + np.log(prior))
        first.append(mean)
        second.append(error**2 + mean**2)
    weight = np.exp(np.array(score) - np.max(score))
    weight /= weight.sum()
    mean = weight @ np.array(first)
    return mean + level, weight @ np.array(second) - mean**2


def correlation(step):
    """scikit-learn's kernel for a process of the lattice: rough ones first; its smooth one has a root of 3 in its own range."""
    range_m = RANGE[step] * SIDE_M * 2**0.5
    return Matern(range_m, nu=0.5) if step < ROUGH else Matern(range_m * 3**0.5 / FALLEN, nu=1.5)
