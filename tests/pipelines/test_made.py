"""What flows hand back."""

from __future__ import annotations

import typing

import pytest

import lossmap
from lossmap.pipelines.made import Made


@pytest.mark.parametrize("flow", ["map_field", "plan_stops", "rank_fields", "map_season"])
def test_every_flow_hands_back_the_same_kind(flow):
    """A script that runs one flow can run them all: file, sentence, values, notes."""
    assert issubclass(typing.get_type_hints(getattr(lossmap, flow))["return"], Made)
