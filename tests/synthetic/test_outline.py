"""The edge lies where the plan says, and the way there and back is one."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from synthetic.plans import SMALL

from lossmap.synthetic.outline import edge, placed, unplaced


def test_a_rectangle_has_its_extent_and_course():
    """The first side runs from the corner given along the course, clockwise from north; the area is length by breadth."""
    plan = dataclasses.replace(SMALL, course_deg=30.0)
    boundary = edge(plan)
    assert boundary.area == pytest.approx(260 * 170)
    first, second = np.array(boundary.exterior.coords)[:2]
    assert first.tolist() == [plan.west_m, plan.north_m]
    assert (second - first).tolist() == pytest.approx([130.0, 260 * 3**0.5 / 2])


def test_a_pond_lies_within_the_edge_of_a_holed_field():
    """The hole is whole: an ellipse 1.4 times as long as wide, of a tenth of the breadth either way across."""
    boundary = edge(dataclasses.replace(SMALL, outline="holed", course_deg=0.0))
    (pond,) = (shapely.Polygon(ring) for ring in boundary.interiors)
    west, south, east, north = pond.bounds
    assert (east - west, north - south) == pytest.approx((34.0, 1.4 * 34.0))
    assert shapely.Polygon(boundary.exterior).contains(pond)


@pytest.mark.parametrize("course_deg", [0.0, 20.0, 95.0, 340.0])
def test_there_and_back(course_deg: float):
    """A place put on the ground and taken back is where it was, whatever the course."""
    plan = dataclasses.replace(SMALL, course_deg=course_deg)
    places = np.random.default_rng(1).uniform(-500, 500, (20, 3, 2))
    np.testing.assert_allclose(unplaced(plan, placed(plan, places)), places, atol=1e-6)
