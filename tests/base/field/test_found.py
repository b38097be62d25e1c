"""What was made of a field holds what it is asked for."""

from __future__ import annotations

import dataclasses

import pytest
import shapely

from lossmap.base.field import FieldMap


def test_area_is_the_outlines_holes_left_out() -> None:
    """A field of 300 m by 200 m with a pond of 100 m by 50 m in it is 5.5 ha."""
    unsaid = {part.name: None for part in dataclasses.fields(FieldMap) if part.default is part.default_factory is dataclasses.MISSING}
    outline = shapely.box(0, 0, 300, 200) - shapely.box(50, 50, 150, 100)
    assert FieldMap(**(unsaid | {"outline": outline})).area_ha == pytest.approx(5.5)
