"""Sums over combinations against the loop over them, and laws of what follows from them."""

import numpy as np
import pytest

from lossmap.base.logloss import FALLEN, Hinge
from lossmap.surfaces import search
from lossmap.surfaces.laplace import Likelihood, Prior, laplace
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, RANGE, ROUGH, SLOPE_SD


def test_shared_sums_are_the_loop_over_combinations(made, monkeypatch, fitted):
    """Mean and variance from shared sums are those of every combination predicted on its own and averaged."""
    monkeypatch.setattr(search, "KEPT", 1.0)
    model = fitted(made, moisture=False)
    mean, variance = model.log_moments(made["cells"], made["cell_speed"])
    counts = Likelihood(made["seeds"], made["area"][:, None] * model.level_, np.ones(1), np.ones(30))
    distance = np.hypot(*(made["places"][:, None] - made["places"][None]).transpose(2, 0, 1))
    across = np.hypot(*(made["cells"][:, None] - made["places"][None]).transpose(2, 0, 1))

    def likeness(row, apart):
        """Rough exp(-x) or smooth (1 + x) exp(-x), 0.37 at the range."""
        x = apart / (RANGE[LATTICE.process[row]] * 866.0 * 2**0.5)
        return np.exp(-x) if LATTICE.process[row] < ROUGH else (1 + FALLEN * x) * np.exp(-FALLEN * x)

    at_stops, at_cells = (Hinge("speed", 2.0).of(made[name]) for name in ("speed", "cell_speed"))
    weights, means, variances, level = [], [], [], INTERCEPT_SD**2
    for slope_variance in (0.0, SLOPE_SD["speed"] ** 2):
        for row in range(LATTICE.size.size):
            sd2 = LATTICE.sd[row] ** 2
            kernel = sd2 * likeness(row, distance)
            prior = Prior(kernel[None], level, 0.0, at_stops[:, None], np.array([slope_variance]))
            cross = sd2 * likeness(row, across) + level + slope_variance * np.outer(at_cells, at_stops)
            fit = laplace(counts, prior, LATTICE.size[[row]], 1e-6)
            weights.append(np.exp(fit.log_evidence[0] + LATTICE.log_prior[row]))
            means.append(cross @ fit.gradient[0])
            variances.append(sd2 + level + slope_variance * at_cells**2 - np.einsum("ci,ij,cj->c", cross, fit.precision[0], cross))
    share = np.array(weights) / np.sum(weights)
    direct = share @ means
    assert mean - np.log(model.level_) == pytest.approx(direct, abs=2e-4)
    assert variance == pytest.approx(share @ (np.array(variances) + np.array(means) ** 2) - direct**2, rel=1e-3)


def test_joint_agrees_with_single_places(made, fitted, parted_model):
    """The diagonal of the joint covariance is the variance at each place, and no part's covariance is impossible."""
    for model in (fitted(made), parted_model(made)):
        chosen = slice(0, 50)
        args = made["cells"][chosen], made["cell_speed"][chosen], made["cell_moisture"][chosen]
        mean, variance = model.log_moments(*args)
        total, covariance = model.joint_total(*args)
        assert total == pytest.approx(mean)
        assert np.diag(covariance) == pytest.approx(variance)
        parts, covariance = model.joint(*args)
        assert np.linalg.eigvalsh(covariance.reshape(parts.size, parts.size)).min() > -1e-9


def test_a_slope_and_the_surface_go_together_as_in_the_loop(made, fitted):
    """Two groups of combinations add up: mean, second moments and slopes of all are those of either group, by weight."""
    model = fitted(made, knots=((1.5, 2.0), (13.0,)))
    one, other = model.posterior([0]), model.posterior([1])
    both = model.posterior([0, 1])
    assert both.weight == pytest.approx(one.weight + other.weight)
    assert both.slope[:2] == pytest.approx([one.slope[0], other.slope[1]])
    args = made["cells"], made["cell_speed"], made["cell_moisture"]
    means = [model.log_moments(*args, part)[0] for part in (one, other, both)]
    assert both.weight * means[2] == pytest.approx(one.weight * means[0] + other.weight * means[1])
    assert model.whole_.weight == pytest.approx(1)
