"""An order of harvest as a value: frozen, comparable, and fit for another process."""

from __future__ import annotations

import dataclasses
import pickle

import pytest
from drydown.made_farms import ranked


def test_a_ranking_survives_the_trip_to_another_process():
    """It is pickled whole and comes back equal but for what is not a number."""
    found = ranked()
    again = pickle.loads(pickle.dumps(found))
    assert again.fields == found.fields
    assert again.gains == found.gains
    assert again.farm == found.farm


def test_nothing_in_it_can_be_changed():
    """What a stage handed on stays as it was."""
    with pytest.raises(dataclasses.FrozenInstanceError):
        ranked().fields[0].rank = 2
    with pytest.raises(dataclasses.FrozenInstanceError):
        ranked().measure = "Heron"
