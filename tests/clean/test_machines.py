"""Machines brought to one level: planted ratios come back, and who met nobody is left alone."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.clean.machines import as_estimates, machine_factors


def two_machines(ratio, passes=20, noise=0.05, rng_seed=1):
    """Passes of two machines in turn; the second reads `ratio` of the truth."""
    rng = np.random.default_rng(rng_seed)
    east, north = np.repeat(np.arange(passes) * 9.0, 150), np.tile(np.arange(150) * 2.0, passes)
    machine = np.repeat(np.arange(passes) % 2, 150)
    truth = 9000 * (1 + 0.1 * np.sin(east / 40))
    return east, north, truth * np.where(machine == 1, ratio, 1.0) * np.exp(rng.normal(0, noise, east.size)), machine


def test_a_planted_ratio_comes_back_and_mass_stays():
    """A machine that reads 8 % low is brought to the other's level within 1 %, and the field's mass is kept."""
    east, north, values, machine = two_machines(0.92)
    factor, doubt = machine_factors(east, north, values, machine, np.ones(east.size, dtype=bool), 9.0)
    assert factor[1] / factor[0] == pytest.approx(1 / 0.92, abs=0.01)
    assert (values * factor[machine]).sum() == pytest.approx(values.sum())
    assert (doubt < 0.1).all()


def test_machines_far_apart_are_left_alone():
    """Without neighbouring passes nothing is known and nothing is changed."""
    east, north, values, machine = two_machines(0.8)
    factor, doubt = machine_factors(east + 1000.0 * machine, north, values, machine, np.ones(east.size, dtype=bool), 9.0)
    assert factor.tolist() == [1.0, 1.0]
    assert np.isnan(doubt).all()
    assert as_estimates(factor, doubt, ["red", "blue"]) == {}


def test_a_machine_that_nobody_met_is_left_alone():
    """Two machines side by side and a third a kilometre off: the third keeps its yield, the two keep their mass together."""
    east, north, values, machine = two_machines(0.8)
    alone = two_machines(1.0, passes=4)
    everyone = [np.concatenate(parts) for parts in zip((east, north, values, machine), alone, strict=True)]
    everyone[0][east.size :] += 1000.0
    everyone[3][east.size :] = 2
    factor, doubt = machine_factors(*everyone, np.ones(everyone[0].size, dtype=bool), 9.0)
    assert factor[2] == 1.0
    assert np.isnan(doubt[2])
    assert (values * factor[machine]).sum() == pytest.approx(values.sum())


def test_few_pairs_say_less():
    """Thirty noisy pairs are shrunk towards no difference."""
    east, north, values, machine = two_machines(0.8, passes=2, noise=0.4)
    believed = np.arange(east.size) % 150 < 32
    factor, _ = machine_factors(east, north, values, machine, believed, 9.0)
    assert 1.0 < factor[1] / factor[0] < 1.2
