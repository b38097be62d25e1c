"""The lattice and its priors, and the correlations that share their exponentials."""

import numpy as np
import pytest

from lossmap.base.logloss import FALLEN
from lossmap.surfaces.lattice import CLUMPING_MEAN, LATTICE, MIDDLE, RANGE, ROUGH, SD, SD_MEAN, SIZE, SMOOTH, correlations


def test_every_combination_is_there_once():
    """Each sd, process and size with each other, in the middle the middle ones."""
    rows = set(zip(LATTICE.sd, LATTICE.process, LATTICE.size, strict=True))
    assert len(rows) == LATTICE.rows.size == SD.size * (ROUGH + SMOOTH) * SIZE.size
    assert (LATTICE.sd[MIDDLE], LATTICE.size[MIDDLE]) == (SD[2], SIZE[2])


def test_priors_are_the_densities_they_are_meant_to_be():
    """Sums over the lattice are near the integrals: mean sd and mean clumping of their exponentials, cut off at the lattice's ends."""
    assert LATTICE.prior.sum() == pytest.approx(1)
    clumping = 1 / np.sqrt(LATTICE.size)
    for values, mean in ((LATTICE.sd, SD_MEAN), (clumping, CLUMPING_MEAN)):
        at = np.linspace(values.min(), values.max(), 2001)
        density = np.exp(-at / mean)
        assert LATTICE.prior @ values == pytest.approx((at * density).sum() / density.sum(), rel=0.12)


def test_halving_the_range_weighs_it_by_its_root():
    """The density of the range's logarithm falls with the root of the range."""
    of_process = np.bincount(LATTICE.process, LATTICE.prior)
    for steps in (slice(0, ROUGH), slice(ROUGH, None)):
        assert of_process[steps][1:] / of_process[steps][:-1] == pytest.approx(np.sqrt(2))


def test_correlations_are_the_formulas():
    """exp(-x) and (1 + x) exp(-x) at every range, from two exponentials and squaring; all are 0.37 at their range."""
    places = np.random.default_rng(0).uniform(0, 300, (6, 2))
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    for step, found in enumerate(correlations(places, places, 500.0)):
        x = apart / (500.0 * RANGE[step] / RANGE[0]) * (1 if step < ROUGH else FALLEN)
        assert found == pytest.approx(np.exp(-x) if step < ROUGH else (1 + x) * np.exp(-x), rel=1e-9)
    assert (1 + FALLEN) * np.exp(-FALLEN) == pytest.approx(np.exp(-1), rel=1e-3)
