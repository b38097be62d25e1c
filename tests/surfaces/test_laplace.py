"""Mode and evidence of the negative-binomial Gaussian process against slower, surer ways."""

import numpy as np
import pytest
from scipy import integrate, optimize, stats
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Matern

from lossmap.surfaces.laplace import Likelihood, Prior, laplace
from outside import agrees


def counts_at(seeds, expected):
    """Likelihood on areas all alike."""
    return Likelihood(np.asarray(seeds, float), np.asarray(expected, float)[:, None], np.ones(1), np.ones(len(seeds)))


def prior_of(kernels):
    """Without a driver."""
    return Prior(np.asarray(kernels, float), 0.0, 0.0, np.empty((kernels.shape[-1], 0)), np.empty(0))


def fitted(counts, kernels, size, start=None):
    """To the mode, closely."""
    return laplace(counts, prior_of(kernels), size, 1e-5, None if start is None else start[:, :, None])


def test_without_a_process_it_is_negative_binomial_regression():
    """Kernel of intercept and slope alone: the mode is that of a penalised regression solved directly."""
    rng = np.random.default_rng(0)
    driver = rng.normal(size=60)
    seeds = rng.negative_binomial(3, 3 / (3 + 5 * np.exp(0.5 * driver)))
    design, size = np.column_stack([np.ones(60), driver]), 3.0

    def minus_log_posterior(beta):
        mean = 5 * np.exp(design @ beta)
        return -stats.nbinom.logpmf(seeds, size, size / (size + mean)).sum() + beta @ beta / 2

    direct = optimize.minimize(minus_log_posterior, np.zeros(2), tol=1e-10).x
    fit = fitted(counts_at(seeds, np.full(60, 5.0)), (design @ design.T)[None], np.array([size]))
    assert design.T @ fit.gradient[0] == pytest.approx(direct, abs=1e-3)
    assert fit.mode[0, :, 0] == pytest.approx(design @ direct, abs=1e-3)


@pytest.mark.parametrize("seeds", [0, 3, 40])
def test_evidence_of_one_stop(seeds):
    """The Laplace evidence of one count is within 0.05 of the integral."""
    fit = fitted(counts_at([seeds], [5.0]), np.full((1, 1, 1), 0.3), np.array([6.0]))

    def joint(g):
        mean = 5 * np.exp(g)
        return stats.nbinom.pmf(seeds, 6, 6 / (6 + mean)) * stats.norm.pdf(g, scale=np.sqrt(0.3))

    exact, _ = integrate.quad(joint, -6, 6, points=[0.0])
    agrees(
        f"log evidence of one stop with {seeds} seeds",
        "numerical integral (scipy.integrate.quad)",
        fit.log_evidence[0],
        np.log(exact),
        0.05,
    )


def test_many_seeds_are_a_gaussian_process_on_logarithms():
    """With thousands of unclumped seeds a stop it is scikit-learn's Gaussian process on log counts."""
    rng = np.random.default_rng(1)
    places = rng.uniform(0, 100, (25, 2))
    kernel = 0.4**2 * Matern(30, "fixed", nu=0.5)
    expected = 2000.0
    seeds = rng.poisson(expected * np.exp(rng.multivariate_normal(np.zeros(25), kernel(places))))
    reference = GaussianProcessRegressor(kernel, alpha=1 / seeds, optimizer=None).fit(places, np.log(seeds / expected))
    fit = fitted(counts_at(seeds, np.full(25, expected)), kernel(places)[None], np.array([1e7]))
    off = np.abs(fit.mode[0, :, 0] - reference.predict(places)).max()
    agrees("log loss at 25 stops, largest difference", "scikit-learn GaussianProcessRegressor", off, 0, 0.005)
    assert fit.precision[0] == pytest.approx(np.linalg.inv(kernel(places) + np.diag(1 / seeds)), rel=0.05, abs=2.0)


def test_a_batch_is_its_models_one_by_one():
    """Models stepped together arrive where each arrives alone, from anywhere near."""
    rng = np.random.default_rng(2)
    kernels = np.array([sd**2 * np.eye(8) + 1.0 for sd in (0.1, 0.5, 1.0)])
    counts = counts_at(rng.poisson(6, 8), np.full(8, 4.0))
    sizes = np.array([1.0, 6.0, 50.0])
    together = fitted(counts, kernels, sizes, start=np.full((3, 8), 1.5))
    for model in range(3):
        alone = fitted(counts, kernels[[model]], sizes[[model]])
        assert together.log_evidence[model] == pytest.approx(alone.log_evidence[0], abs=1e-6)
        assert together.mode[model] == pytest.approx(alone.mode[0], abs=1e-4)


def test_extreme_counts_still_arrive():
    """One stop with thousands of seeds among empty ones: finite, and the mode is a mode."""
    counts = counts_at([0, 0, 0, 5000, 0], np.full(5, 2.0))
    kernels = (0.85**2 * np.eye(5) + 1.0)[None]
    fit = fitted(counts, kernels, np.array([50.0]))
    assert np.isfinite(fit.log_evidence).all()
    assert fit.mode[0, :, 0] == pytest.approx(kernels[0] @ fit.gradient[0], abs=0.02)


def test_slopes_given_apart_are_part_of_the_covariance():
    """A hinge with its slope's variance gives what a kernel with that hinge in it gives."""
    rng = np.random.default_rng(3)
    hinge, counts = rng.uniform(0, 1, (12, 1)), counts_at(rng.poisson(5, 12), np.full(12, 4.0))
    kernel = (0.3**2 * np.eye(12) + 1.0)[None]
    apart = laplace(counts, Prior(kernel - 1.0, 1.0, 0.0, hinge, np.array([1.44])), np.array([6.0]), 1e-6)
    inside = fitted(counts, kernel + 1.44 * hinge @ hinge.T, np.array([6.0]))
    assert apart.mode == pytest.approx(inside.mode, abs=1e-5)
    assert apart.log_evidence == pytest.approx(inside.log_evidence, abs=1e-6)


def test_several_parts_arrive_at_a_mode():
    """With three parts the end is a stationary point: no latent's gradient is left, within what the steps leave."""
    rng = np.random.default_rng(4)
    places = rng.uniform(0, 100, (10, 2)).repeat(3, axis=0)
    worth, sees = np.array([0.15, 0.7, 0.15]), np.tile(np.tri(3), (10, 1))
    expected = 20 * sees * worth
    counts = Likelihood(rng.poisson(expected.sum(axis=1)).astype(float), expected, worth, np.ones(30))
    kernel = 0.4**2 * Matern(30, "fixed", nu=0.5)(places)
    fit = laplace(counts, Prior(kernel[None], 1.0, 0.5, np.empty((30, 0)), np.empty(0)), np.array([6.0]), 1e-7)
    mean, lever = counts.seen(fit.mode[0])
    gradient, _ = counts.slopes(mean, np.full(30, 6.0))
    assert fit.mode[0] == pytest.approx((kernel + 0.5) @ (lever * gradient[:, None]) + gradient.sum(), abs=1e-4)


def test_levers_are_derivatives():
    """The lever of a count on each latent is how far the logarithm of its mean moves with it."""
    rng = np.random.default_rng(9)
    worth = np.array([0.2, 0.5, 0.3])
    counts = Likelihood(np.zeros(3), rng.uniform(0.1, 2, (3, 3)) * [[1, 0, 0], [1, 1, 0], [1, 1, 5]], worth, np.ones(3))
    h = rng.normal(size=(3, 3))
    _, lever = counts.seen(h)
    assert lever.sum(axis=1) == pytest.approx(1.0)
    for part in range(3):
        moved = [np.log(counts.seen(h + sign * 1e-6 * (np.arange(3) == part))[0]) for sign in (1, -1)]
        assert lever[:, part] == pytest.approx((moved[0] - moved[1]) / 2e-6, abs=1e-6)
