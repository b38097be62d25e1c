"""How the machine goes over the field in equal steps of time, and what each step cuts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.ndimage
import shapely

from lossmap.base.grid import Floats
from lossmap.synthetic.land import Land
from lossmap.synthetic.outline import unplaced
from lossmap.synthetic.passes import Piece, way
from lossmap.synthetic.plan import FieldPlan

__all__ = ["Steps", "driven"]

#: Parts of the header, each of which cuts or does not.
PARTS = 18


@dataclass(frozen=True)
class Steps:
    """The machine's day in equal steps of time, ``[step]``.

    Attributes
    ----------
    seconds : float
        Length of each.
    places_m : array, ``[step, 2]``
        Its middle.
    heading_deg, speed_m_s : array
    pass_id : array of int
        -1 in turns.
    fresh_width_m : array
        Of the land that still stood; 0 in turns.
    yield_kg_ha, moisture_pct : array
        What grew there, and how moist it was by then; in turns too, where nothing was cut.
    """

    seconds: float
    places_m: Floats
    heading_deg: Floats
    speed_m_s: Floats
    pass_id: npt.NDArray[np.intp]
    fresh_width_m: Floats
    yield_kg_ha: Floats
    moisture_pct: Floats

    @property
    def working(self) -> npt.NDArray[np.bool_]:
        """Whether the header was down."""
        return self.pass_id >= 0

    @property
    def area_m2(self) -> Floats:
        """Freshly cut in each step."""
        return self.fresh_width_m * self.speed_m_s * self.seconds


def driven(plan: FieldPlan, land: Land, boundary: shapely.Polygon, rng: np.random.Generator) -> Steps:
    """Drive the whole field once.

    Raises
    ------
    SettingsError
        The outline is too small for a single pass.
    """
    seconds = plan.log_interval_s / math.ceil(plan.log_interval_s)
    parts, pass_ids, widths = [], [], []
    for number, piece in enumerate(way(plan, boundary, rng)):
        part = _paced(plan, piece, seconds, rng)
        parts.append(part)
        pass_ids.append(np.full(len(part), -1 if piece.is_turn else number // 2))
        widths.append(np.zeros(len(part)) if piece.is_turn else _fresh_width(plan, piece, part))
    east, north, heading, speed = np.concatenate(parts).T
    places, pass_id = np.column_stack([east, north]), np.concatenate(pass_ids)
    moisture = np.clip(_of_the_hour(plan, pass_id >= 0) + land.at(land.moisture_off_pct, places), 5.5, 39.5)
    yields = land.at(land.yield_kg_ha, places)
    return Steps(seconds, places, heading % 360, speed, pass_id, np.concatenate(widths), yields, moisture)


def _paced(plan: FieldPlan, piece: Piece, seconds: float, rng: np.random.Generator) -> Floats:
    """Drive a piece: easting, northing [m], heading [deg] and speed [m/s] at the middle of each step, ``[step, 4]``."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(piece.path, axis=0).T))])
    metres = np.linspace(0, along[-1], max(2, math.ceil(along[-1])))
    wander = scipy.ndimage.gaussian_filter1d(rng.standard_normal(len(metres)), 15, mode="reflect") * 7.3  # to unit variance
    speed = piece.speed_m_s * np.clip(1 + plan.speed_wander * wander, 0.6, 1.4)
    if not piece.is_turn:  # a combine enters the crop and leaves it slower
        speed *= np.interp(np.minimum(metres, along[-1] - metres), [0, 10], [0.7, 1.0])
    clock = np.concatenate([[0.0], np.cumsum(np.diff(metres) * 2 / (speed[1:] + speed[:-1]))])
    steps = max(1, round(clock[-1] / seconds))
    edges = np.interp(np.linspace(0, clock[-1], steps + 1), clock, metres)  # whole steps: nothing is left uncut
    middle = (edges[1:] + edges[:-1]) / 2
    east, north = (np.interp(middle, along, piece.path[:, axis]) for axis in (0, 1))
    corner = np.clip(np.searchsorted(along, middle, side="right") - 1, 0, len(along) - 2)
    course = np.diff(piece.path, axis=0)[corner]
    heading = np.degrees(np.arctan2(course[:, 0], course[:, 1]))
    return np.column_stack([east, north, heading, np.diff(edges) / seconds])


def _fresh_width(plan: FieldPlan, piece: Piece, paced: Floats) -> Floats:
    """Width each step of a piece cuts [m]: the part of the header over land that still stands."""
    offsets = ((np.arange(PARTS) + 0.5) / PARTS - 0.5) * plan.header_width_m
    course = np.radians(paced[:, 2])
    right = np.stack([np.cos(course), -np.sin(course)], axis=-1)
    header = paced[:, None, :2] + offsets[None, :, None] * right[:, None, :]
    shapely.prepare(piece.land)
    stands = shapely.contains_xy(piece.land, header[..., 0], header[..., 1])
    if math.isfinite(piece.cut_before_m):
        stands &= unplaced(plan, header)[..., 1] > piece.cut_before_m
    return np.asarray(stands.mean(axis=1) * plan.header_width_m)


def _of_the_hour(plan: FieldPlan, working: npt.NDArray[np.bool_]) -> Floats:
    """Mean moisture of the field at each step [%]: it falls as the work goes on."""
    worked = np.cumsum(working) / max(1, int(working.sum()))
    return np.asarray(plan.moisture_start_pct - plan.moisture_drop_pct * worked)
