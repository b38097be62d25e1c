"""Where the machine goes: rounds along the edge, straight passes, the turns between."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from lossmap.base.errors import SettingsError
from lossmap.base.grid import Floats
from lossmap.synthetic.outline import placed, unplaced
from lossmap.synthetic.plan import FieldPlan

__all__ = ["Piece", "way"]


@dataclass(frozen=True)
class Piece:
    """A stretch driven in one go: a round, a pass, or a turn.

    Attributes
    ----------
    path : array, ``[corner, 2]``
        Easting and northing [m].
    speed_m_s : float
        Its level.
    land : geometry or None
        What it was meant to cut [m]; None for a turn.
    cut_before_m : float
        How far the passes before have cut, in the direction across.
    """

    path: Floats
    speed_m_s: float
    land: shapely.Geometry | None = None
    cut_before_m: float = -math.inf

    @property
    def is_turn(self) -> bool:
        """Whether the header is up."""
        return self.land is None


def way(plan: FieldPlan, boundary: shapely.Polygon, rng: np.random.Generator) -> list[Piece]:
    """The headland rounds, then the passes, with a way in, a turn after each, and a way out behind the last.

    Turns and cut pieces alternate; the way in is the first turn, the way out the last.

    Raises
    ------
    SettingsError
        The outline is too small for a single pass.
    """
    cut = _rounds(plan, boundary) + _passes(plan, boundary, rng)
    if not cut:
        raise SettingsError("FieldPlan: no pass fits into the outline; make it larger or the header narrower")
    turns = [_way_in(cut[0].path), *(_turn(one.path, other.path) for one, other in itertools.pairwise(cut)), _way_out(cut[-1].path)]
    speed_m_s = float(np.mean(plan.speed_levels_m_s))
    out = [Piece(turns[0], speed_m_s)]
    for piece, turn in zip(cut, turns[1:], strict=True):
        out += [piece, Piece(turn, speed_m_s)]
    return out


def _rounds(plan: FieldPlan, boundary: shapely.Polygon) -> list[Piece]:
    """Rings along the edge, and around a hole."""
    speed_m_s = float(np.mean(plan.speed_levels_m_s)) * plan.headland_speed
    width = plan.header_width_m
    rounds = []
    for lap in range(plan.headland_rounds):
        strip = boundary.buffer(-lap * width) - boundary.buffer(-(lap + 1) * width)
        for part in shapely.get_parts(boundary.buffer(-(lap + 0.5) * width)):
            if not part.is_empty:
                rounds += [Piece(np.array(ring.coords), speed_m_s, strip) for ring in (part.exterior, *part.interiors)]
    return rounds


def _passes(plan: FieldPlan, boundary: shapely.Polygon, rng: np.random.Generator) -> list[Piece]:
    """Straight passes from one side to the other, the last one as narrow as what is left."""
    width, spacing = plan.header_width_m, plan.header_width_m - plan.overlap_m
    left = boundary.buffer(-plan.headland_rounds * width)
    if left.is_empty:
        return []
    level = shapely.transform(left, lambda places: unplaced(plan, places))
    _, first, _, last = level.bounds
    passes = []
    for number in range(max(1, math.ceil((last - first - plan.overlap_m) / spacing - 0.1))):
        across = first + width / 2 + number * spacing
        backwards = plan.two_ways and number % 2 == 1
        speed_m_s = float(rng.choice(plan.speed_levels_m_s))
        cut_before = across - width / 2 + plan.overlap_m if number else -math.inf
        for start, end in _stretches(level, across, last, width, backwards):
            ends = np.array([(start, across), (end, across)])
            passes.append(Piece(placed(plan, ends), speed_m_s, left, cut_before))
    return passes


def _stretches(level: BaseGeometry, across: float, last: float, width: float, backwards: bool) -> list[tuple[float, float]]:
    """Where a pass enters and leaves the crop, in the order in which it is driven."""
    west, _, east, _ = level.bounds
    # the middle of the last pass may lie beyond the crop that it still cuts the edge of
    looked_at = min(across, last - 0.05 * width)
    line = shapely.LineString([(west - 1, looked_at), (east + 1, looked_at)])
    found = sorted((part.bounds[0], part.bounds[2]) for part in shapely.get_parts(level & line) if part.length > 2 * width)
    return [(end, start) for start, end in reversed(found)] if backwards else found


def _way_in(entering: Floats) -> Floats:
    """The last 30 m towards the start of a path."""
    start, after = entering[:2]
    return np.array([start - _unit(after - start) * 30, start])


def _turn(leaving: Floats, entering: Floats) -> Floats:
    """A smooth way (cubic Bézier) from the end of one path to the start of the next."""
    start, out = leaving[-1], _unit(leaving[-1] - leaving[-2])
    end, into = entering[0], _unit(entering[1] - entering[0])
    reach = float(np.clip(np.linalg.norm(end - start) / 2, 18, 40))
    share = np.linspace(0, 1, 33)[:, None]
    bend = 3 * (1 - share) * share * ((1 - share) * (start + out * reach) + share * (end - into * reach))
    return np.asarray((1 - share) ** 3 * start + bend + share**3 * end)


def _way_out(leaving: Floats) -> Floats:
    """Straight on for 120 m: time enough for the grain that is still in the machine to reach the sensor."""
    before, end = leaving[-2:]
    return np.array([end, end + _unit(end - before) * 120])


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.linalg.norm(vector))
