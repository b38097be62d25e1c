"""How log loss changes over a field: hinges, and correlation over distance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import kv

from lossmap.base.logloss import CountDoubt, DriverDoubt, Hinge


def test_a_hinge_turns_the_way_loss_rises() -> None:
    """Speed counts above its knot, moisture below it, by how far; the other side is nothing, the unknown stays unknown."""
    values = np.array([1.5, 2.0, 2.5, np.nan])
    assert Hinge("speed", 2.0).of(values).tolist() == pytest.approx([0.0, 0.0, 0.5, np.nan], nan_ok=True)
    assert Hinge("dryness", 2.0).of(values).tolist() == pytest.approx([0.5, 0.0, 0.0, np.nan], nan_ok=True)
    assert DriverDoubt(Hinge("dryness", 2.0), values, 0.4, 0.1, True).name == "dryness"


def doubt(is_smooth: bool) -> CountDoubt:
    """No count yet, and a range of 80 m."""
    return CountDoubt(0.5, 80.0, 1.0, np.empty((0, 2)), np.empty(0), 10.0, (), is_smooth)


@pytest.mark.parametrize("is_smooth", [False, True])
def test_correlation_falls_as_the_range_says(is_smooth: bool) -> None:
    """1 at no distance, 0.37 at the range, whether rough or smooth; smooth ones fall slowly at first."""
    near, far = doubt(is_smooth).correlation(np.array([0.0, 80.0]))
    assert near == 1
    assert far == pytest.approx(np.exp(-1), abs=1e-3)
    assert (doubt(is_smooth).correlation(np.array([8.0]))[0] > 0.95) == is_smooth


@pytest.mark.parametrize(("is_smooth", "order", "gamma"), [(False, 0.5, np.sqrt(np.pi)), (True, 1.5, np.sqrt(np.pi) / 2)])
def test_both_are_matern(is_smooth: bool, order: float, gamma: float) -> None:
    """x**v K_v(x) / (2**(v-1) Gamma(v)) with scipy's Bessel function of the second kind, of order 1/2 and 3/2 (from memory)."""
    away_m = np.linspace(1.0, 300.0, 50)
    x = away_m / 80.0 * (2.146 if is_smooth else 1.0)
    assert doubt(is_smooth).correlation(away_m) == pytest.approx(x**order * kv(order, x) / (2 ** (order - 1) * gamma), rel=1e-9)
