"""Which combinations are kept: against their own evidence, and what is left out is not missed."""

import numpy as np
import pytest

from lossmap.surfaces import search
from lossmap.surfaces.combinations import hinges_of
from lossmap.surfaces.laplace import Likelihood, laplace
from lossmap.surfaces.lattice import LATTICE
from lossmap.surfaces.search import expected_sds, searched


def likelihood_of(made, model):
    """Of counts of one part, as the model takes them."""
    return Likelihood(made["seeds"], made["area"][:, None] * model.level_, np.ones(1), made["area"] / made["area"].mean())


def test_kept_rows_carry_their_weight_by_their_own_evidence(made, fitted):
    """Whatever the shortcut thought of them: of each set of drivers, fitted on all rows, they hold nine tenths of the weight."""
    model = fitted(made)
    combinations, likelihood = model.combinations_, likelihood_of(made, model)
    for key, kept in searched(combinations, likelihood).kept.items():
        score = laplace(likelihood, combinations.prior(LATTICE.rows, key), LATTICE.size, 1e-4).log_evidence + LATTICE.log_prior
        weight = np.exp(score - score.max())
        assert weight[kept].sum() > 0.9 * weight.sum()


def test_the_gain_is_exact_where_the_likelihood_is_normal(made, fitted):
    """Thousands of seeds a stop, no clumping: what a hinge adds to the evidence, reckoned without fitting it, is what the fit says."""
    combinations, row = fitted(made).combinations_, LATTICE.rows[-1:]
    many = Likelihood(1e6 + 0 * made["seeds"] + 1e3 * made["speed"], np.full((30, 1), 1e6), np.ones(1), np.ones(30))
    size = np.array([1e9])
    plain = laplace(many, combinations.prior(row), size, 1e-9)
    for key in ((0, -1), (-1, 1), (0, 1)):
        used = hinges_of(key)
        beyond = combinations.beyond[:, used]
        gain = search._gain(plain.gradient @ beyond, beyond.T @ (plain.precision @ beyond), combinations.slope_variance[used])
        fit = laplace(many, combinations.prior(row, key), size, 1e-9)
        assert gain == pytest.approx(fit.log_evidence - plain.log_evidence, rel=1e-3)


def test_each_set_of_drivers_keeps_its_likeliest(made, fitted):
    """No driver, either and both are all kept, each with fewer rows than the lattice has."""
    model = fitted(made)
    kept = searched(model.combinations_, likelihood_of(made, model)).kept
    assert {tuple(column >= 0 for column in key) for key in kept} == {(False, False), (True, False), (False, True), (True, True)}
    assert all(0 < rows.size < LATTICE.rows.size for rows in kept.values())


def test_what_is_expected_of_a_slope_knows_no_seed(made, fitted):
    """The same stops with other seeds: the same expected sd; more ground: a smaller one, never above the prior's."""
    model = fitted(made)
    likelihood = likelihood_of(made, model)
    empty = Likelihood(0 * likelihood.seeds, likelihood.expected, likelihood.worth, likelihood.breadth)
    wider = Likelihood(likelihood.seeds, 10 * likelihood.expected, likelihood.worth, likelihood.breadth)
    once, none, more = (expected_sds(model.combinations_, one) for one in (likelihood, empty, wider))
    assert once == none
    for driver, variance in zip(("speed", "dryness"), model.combinations_.slope_variance, strict=True):
        assert more[driver] < once[driver] < variance**0.5


def test_leaving_out_light_combinations_is_hardly_to_be_seen(made, monkeypatch, fitted, mapped):
    """What KEPT leaves out moves no cell of the map or its interval by more than 8 %, nor the average by 1 %."""
    usual = mapped(fitted(made), made)
    monkeypatch.setattr(search, "KEPT", 1.0)
    for one, other in zip(usual, mapped(fitted(made), made), strict=True):
        assert one == pytest.approx(other, rel=0.08)
        assert one.mean() == pytest.approx(other.mean(), rel=0.01)
