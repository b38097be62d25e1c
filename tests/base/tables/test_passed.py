"""The tables that pass between stages: units in their columns' names, doubt beside every loss."""

from __future__ import annotations

import pytest

from lossmap.base import tables
from lossmap.base.tables import LOSSES, Contract

CONTRACTS = [value for value in vars(tables).values() if isinstance(value, Contract)]


@pytest.mark.parametrize("contract", CONTRACTS, ids=lambda contract: contract.name)
def test_a_name_with_a_unit_ends_in_it(contract: Contract) -> None:
    """Each number with a unit says it in its column's name, and each column says what it means."""
    endings = {"kg/s": "_kg_s", "kg/ha": "_kg_ha", "%": "_pct", "m/s": "_m_s", "m": "_m", "s": "_s"}
    endings |= {"deg": "_deg", "ha": "_ha", "m2": "_m2"}
    for column in contract.columns:
        assert column.means, column.name
        if column.unit in endings and "_m2_" not in column.name:
            assert column.name.endswith(endings[column.unit]), column.name


def test_the_contracts_are_public_and_named_as_they_are_called() -> None:
    """Each contract stands under its own name in __all__."""
    assert {contract.name for contract in CONTRACTS} <= set(tables.__all__)
    assert {"POINTS", "COUNTS", "LOSSES", "CELLS", "ZONES", "PLAN", "SEASON", "WEATHER"} == {contract.name for contract in CONTRACTS}
    assert all(getattr(tables, contract.name) is contract for contract in CONTRACTS)


def test_losses_hold_an_interval_for_every_source() -> None:
    """Each source and the total has low and high beside it."""
    names = {column.name for column in LOSSES.columns}
    for source in ("preharvest", "header", "threshing", "total"):
        assert {f"{source}_kg_ha", f"{source}_low_kg_ha", f"{source}_high_kg_ha"} <= names
