"""Random fields have the variance and range that they claim."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.base.grid import Grid
from lossmap.synthetic.land import gaussian


@pytest.mark.parametrize("smooth", [True, False])
def test_gaussian_fields_have_the_planned_variance_and_range(smooth: bool) -> None:
    """Over many draws: mean 0, variance 1, correlation 0.37 at the range."""
    grid = Grid(None, 0.0, 0.0, 5.0, 60, 80)  # type: ignore[arg-type]
    draws = np.stack([gaussian(grid, 60.0, smooth, np.random.default_rng(seed)) for seed in range(300)])
    assert draws.mean() == pytest.approx(0, abs=0.05)
    assert draws.var() == pytest.approx(1, abs=0.05)
    assert (draws[:, :, :-12] * draws[:, :, 12:]).mean() == pytest.approx(np.exp(-1), abs=0.06)
