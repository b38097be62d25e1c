"""What a column that plays a role looks like."""

from __future__ import annotations

import pandas as pd
import pytest

from lossmap.base.field import ROLES
from lossmap.base.units import factor
from lossmap.read.raw import Raw
from lossmap.read.roles import LIKELY, LOOKS, candidates, cannot_be, possible


def test_every_role_has_its_looks():
    """Roles of the contract and of the table are the same, and every unit in the table can be turned into the role's own."""
    assert LOOKS.keys() == ROLES.keys()
    for role, looks in LOOKS.items():
        assert all(factor(unit, ROLES[role], 56.0) > 0 for unit in (*looks.units, *([LIKELY[role]] if role in LIKELY else [])))


@pytest.mark.parametrize(
    ("columns", "role", "names"),
    [
        (["Speed (mph)", "Ground speed"], "speed", ["Ground speed", "Speed (mph)"]),
        (["Moisture raw", "moistr", "Crop moisture %", "moisture"], "moisture", ["moisture", "Crop moisture %", "moistr", "Moisture raw"]),
        (["altitude", "Latitude"], "latitude", ["Latitude"]),
        (["row id", "sequence"], "record", []),
    ],
)
def test_the_nearest_name_comes_first(columns, role, names):
    """Whole names before those cut short and those that hold more; identifiers are never trusted as running numbers."""
    assert list(dict.fromkeys(one.column for one in candidates(columns, role))) == names


@pytest.mark.parametrize(
    ("values", "role", "why"),
    [
        ([1.0, 2.0, None], "speed", ""),
        (["1.5", "x", "2.5"], "speed", ""),
        (["slow", "fast", "2"], "speed", 'holds text ("slow"), not numbers'),
        ([None, None, None], "speed", "is empty"),
        (["slow", "fast", "2"], "machine", ""),
    ],
)
def test_what_cannot_play_a_role_says_why(values, role, why):
    """One bad value in a column of numbers is left to be named later; a column of words, or of nothing, is another thing."""
    said = cannot_be(Raw("log.csv", pd.DataFrame({"column": values}), 2), role, "column")
    assert bool(said) is bool(why)
    assert why in said


def test_only_the_impossible_is_impossible():
    """5 m/s can be a speed and 50 cannot; a column of gaps says nothing against it."""
    assert [possible("speed", value) for value in (5.0, 50.0, float("nan"))] == [True, False, True]
