"""One field: where to count next, before any count or after a first round."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from scipy.spatial import cKDTree

from lossmap.base.errors import TooLittleData
from lossmap.base.field import Field, FieldMap
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.settings import Settings
from lossmap.base.tables import DRIVE, LAYER_WORDS
from lossmap.loss import seed_mass_g
from lossmap.loss.clumping import USUAL_CLUMPING
from lossmap.project import project, utm_crs
from lossmap.read import read_boundary, read_counts, read_field, read_points
from lossmap.report import StopsPlan, needed_in_words, said_of_plan, values_of_plan, write_plan
from lossmap.stops import MOST_NEEDED, Ground, farthest, next_stops, plan_table
from lossmap.surfaces import left_in_doubt
from lossmap.zones import found_sd

from .ground import cleaned_log, cut_outline, machine_layers
from .made import Made
from .map_field import Stage, made_map
from .progress import Stages
from .whole import apart, whole_files

__all__ = ["made_plan", "plan_stops"]

# A verdict is planned for a little more than it takes: frames are laid some metres off, where the grain was not quite
# as dry nor the machine as fast as planned (made fields, planned, counted and mapped again, else fell short by half).
AMPLE = 0.95


@dataclass(frozen=True)
class _Cut:
    """What is known of a field's ground: its edge, the records that cut it, and the machine's layers over its cells."""

    grid: Grid
    outline: shapely.Geometry
    points: gpd.GeoDataFrame
    layers: Mapping[str, Surface]


def plan_stops(path: Path, settings: Settings, out: Path, bar: bool = False) -> Made:
    """Plan stops for the field of a folder, into ``out/<folder's name>``; what else lies there stays.

    Raises
    ------
    LossmapError
        Whatever is wrong with its files, facts, settings or the place for its results; an
        earlier plan is left as it was.
    """
    field = read_field(path)
    target = out / field.id
    apart(field.folder, target)
    stage = Stages(field.id, bar)
    plan = made_plan(field, settings, stage)
    with stage("write"), whole_files(target) as folder:
        files = write_plan(plan, folder)
    return Made(target / files[-1].name, said_of_plan(plan), values_of_plan(plan), (*plan.notes, *needed_in_words(plan)))


def made_plan(field: Field, settings: Settings, stage: Stage) -> StopsPlan:
    """The stops that tell most of one field.

    Before any count, and while the stops are too few for a map, they are spread. After that
    they are those that shrink the doubt of undecided verdicts and of the map most.

    Raises
    ------
    LossmapError
    """
    field.check_ground()
    field_map = made_map(field, settings, stage) if field.facts.counts else None
    cut = _cut_uncounted(field, settings, stage) if field_map is None else _cut_of(field_map)
    with stage("stops"):
        stops = None if field_map is None else field_map.losses
        ground, notes = _ground(cut, field, stops)
        if field_map is not None and len(field_map.losses) >= settings.surfaces.least_stops:
            plan = _fitted_plan(field_map, ground)
        else:
            plan = _spread_plan(field, settings, ground, stops)
    if len(plan.stops) < settings.stops.number:
        notes = (*notes, f"there is room for {len(plan.stops)} stops only ({settings.stops.number} were asked for)")
    mass = seed_mass_g(field, settings.loss)
    return replace(plan, notes=notes, outline=cut.outline, seed_mass_g=mass, clumping=USUAL_CLUMPING)


def _cut_uncounted(field: Field, settings: Settings, stage: Stage) -> _Cut:
    """The ground of a field without counts: cleaned log, or boundary alone."""
    with stage("read"):
        log = read_points(field)
        boundary = read_boundary(field, log)
    with stage("project"):
        crs = _crs(log.table, boundary)
        points = project(log.table, crs)
        edge = boundary.to_crs(crs).iloc[0] if boundary is not None else None
    with stage("clean"):
        points, _ = cleaned_log(points, field, settings, edge, log.timings)
        outline = edge if edge is not None else cut_outline(points, field)
        grid = Grid.covering(outline, crs, settings.grid.cell, field.id)
    with stage("surfaces"):
        return _Cut(grid, outline, points, machine_layers(points, grid, grid.inside(outline), settings, tuple(DRIVE.values())))


def _crs(points: gpd.GeoDataFrame, boundary: gpd.GeoSeries | None) -> pyproj.CRS:
    """The field's metric system: by its log, else by the middle of its boundary."""
    if len(points) or boundary is None:
        return utm_crs(points)
    return utm_crs(gpd.GeoDataFrame(geometry=boundary.representative_point()))


def _cut_of(field_map: FieldMap) -> _Cut:
    grid = field_map.surfaces["loss_kg_ha"].grid
    return _Cut(grid, field_map.outline, field_map.points, field_map.surfaces)


def _ground(cut: _Cut, field: Field, stops: gpd.GeoDataFrame | None) -> tuple[Ground, tuple[str, ...]]:
    """Cells where a stop may be, and what has to be said of them.

    With a log only ground that was cut, where the machine's middle went: nobody is sent into
    standing crop, and a receiver that is some metres off still leads to the same pass. Off
    the edge by half a header, where the field is wide enough: there the header ran half
    empty. And a header's width from stops already counted.
    """
    easting, northing = np.meshgrid(*cut.grid.centres())
    half = field.facts.header_width / 2
    is_here = cut.grid.inside(cut.outline)
    notes = _lacking(cut)
    if len(cut.points):
        near_m = min(half, cut.grid.cell_m / np.sqrt(2))  # the cell's own records, or almost
        believed = shapely.get_coordinates(cut.points.geometry.to_numpy()[(cut.points["flag"] == "").to_numpy()])
        is_here[is_here] = cKDTree(believed).query(np.column_stack([easting[is_here], northing[is_here]]))[0] <= near_m
    off_edge = is_here & cut.grid.inside(shapely.buffer(cut.outline, -half))
    if off_edge.any():
        is_here = off_edge
    else:
        notes.append("the field is too narrow to keep stops off its edge: step in from it")
    places_m = np.column_stack([easting[is_here], northing[is_here]])
    layers = map(cut.layers.get, DRIVE.values())
    ground = Ground(cut.grid.crs, places_m, *(None if layer is None else layer.mean[is_here].astype(float) for layer in layers))
    if stops is not None and len(ground):
        away = cKDTree(_places(stops)).query(places_m)[0]
        ground = ground.some(np.flatnonzero(away > 2 * half))
    if not len(ground):
        raise TooLittleData(
            f"{field.id}: no ground is left to place a stop on (cut, in the field, a header's width from stops counted); "
            "check log, boundary and header_width"
        )
    return ground, tuple(notes)


def _lacking(cut: _Cut) -> list[str]:
    """What the log does not tell, and what follows."""
    if not len(cut.points):
        return ["no log tells which ground is cut, how fast or how dry: stops are spread over place alone; go only where the crop is off"]
    return [
        f"the log has no {LAYER_WORDS[name]}, so stops are not chosen by it" for name, column in DRIVE.items() if column not in cut.layers
    ]


def _spread_plan(field: Field, settings: Settings, ground: Ground, stops: gpd.GeoDataFrame | None) -> StopsPlan:
    """Before the counts can say anything: far from one another and from stops counted."""
    asked, basis = settings.stops, ("place", *ground.driven)
    if stops is None:
        picked = farthest(ground, asked.number)
        return StopsPlan(field, settings, plan_table(ground, picked, np.empty((0, 2)), (), asked.frames), basis)
    picked = farthest(ground, asked.number, _counted(stops))
    return StopsPlan(field, settings, plan_table(ground, picked, _places(stops), list(stops["stop_id"]), asked.frames), basis, len(stops))


def _fitted_plan(field_map: FieldMap, ground: Ground) -> StopsPlan:
    """After a first round: what the counts leave in doubt decides."""
    field, asked = field_map.field, field_map.settings.stops
    # seeds expected and clumping both grow with the area, and so does what it tells
    more = asked.frames / float(read_counts(field)["frames"].median())
    wanted_sd = {name: AMPLE * found_sd(name) for name in ground.driven}
    doubt, among = left_in_doubt(field_map, ground.places_m, ground.driven, more, wanted_sd)
    picked = next_stops(ground, doubt, asked.number, field.facts.header_width, among)
    stops = plan_table(ground, picked, doubt.places_m, list(field_map.losses["stop_id"]), asked.frames)
    basis = ("place", *picked.needed)
    return StopsPlan(field, field_map.settings, stops, basis, len(field_map.losses), picked.needed, MOST_NEEDED, True)


def _counted(stops: gpd.GeoDataFrame) -> Ground:
    """The stops counted so far, as ground."""
    values = (stops[column].to_numpy(float) if column in stops else None for column in DRIVE.values())
    return Ground(stops.crs, _places(stops), *values)


def _places(table: gpd.GeoDataFrame) -> Floats:
    return np.asarray(shapely.get_coordinates(table.geometry.to_numpy()), float)
