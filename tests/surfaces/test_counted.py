"""Rates of the parts: differences where counts tell them, usual shares where they hardly do."""

import numpy as np
import pytest

from lossmap.surfaces.counted import Counted


def test_rates_are_those_of_separate_counts():
    """Where each position is counted on large areas the rates are the differences, and never below 0."""
    sees = np.tile(np.array([[1, 0], [1, 5.0]]), (50, 1))
    area, stop = np.full(100, 100.0), np.repeat(np.arange(50), 2)
    exact = Counted(stop, area * (sees @ [2.0, 1.0]), area, sees, np.ones(2), np.ones(100))
    assert exact.rates() == pytest.approx([2.0, 1.0], rel=0.03)
    fewer_behind = Counted(stop, area * np.where(sees[:, 1] > 0, 1.9, 2.0), area, sees, np.ones(2), np.ones(100))
    assert (fewer_behind.rates() > 0).all()


def test_a_part_hardly_told_is_put_at_its_usual_share():
    """One seed more behind than in front on a small area says next to nothing of the last part: its share is near the usual one."""
    sees, area = np.tile(np.array([[1, 0], [1, 1.0]]), (10, 1)), np.full(20, 0.4)
    seeds = np.tile([5.0, 5.0], 10)
    counted = Counted(np.repeat(np.arange(10), 2), seeds, area, sees, np.ones(2), np.ones(20), np.array([0.9, 0.1]))
    share = counted.rates() / counted.rates().sum()
    assert 0.03 < share[1] < 0.12
