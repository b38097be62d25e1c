"""The edge of a made field, and the two directions in which it is thought of: along its passes and across them."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import shapely
import shapely.affinity

from lossmap.synthetic.plan import OUTLINES, FieldPlan

__all__ = ["Places", "edge", "placed", "unplaced"]

Places = npt.NDArray[np.float64]  # [..., 2]


def edge(plan: FieldPlan) -> shapely.Polygon:
    """The outline at its place [m], with the pond of a holed one."""
    corners = np.array(OUTLINES[plan.outline]) * (plan.length_m, plan.breadth_m)
    holes = []
    if plan.outline == "holed":
        pond = shapely.Point(0.58 * plan.length_m, 0.45 * plan.breadth_m).buffer(0.1 * plan.breadth_m, quad_segs=6)
        holes = [placed(plan, np.array(shapely.affinity.scale(pond, xfact=1.4).exterior.coords))]
    return shapely.Polygon(placed(plan, corners), holes)


def placed(plan: FieldPlan, along_across: Places) -> Places:
    """From (along, across) the passes to (easting, northing) [m]."""
    course = math.radians(plan.course_deg)
    along, across = along_across[..., 0], along_across[..., 1]
    east = plan.west_m + along * math.sin(course) + across * math.cos(course)
    north = plan.north_m + along * math.cos(course) - across * math.sin(course)
    return np.stack([east, north], axis=-1)


def unplaced(plan: FieldPlan, places: Places) -> Places:
    """The other way."""
    course = math.radians(plan.course_deg)
    east, north = places[..., 0] - plan.west_m, places[..., 1] - plan.north_m
    along = east * math.sin(course) + north * math.cos(course)
    return np.stack([along, east * math.cos(course) - north * math.sin(course)], axis=-1)
