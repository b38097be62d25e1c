"""One field: where to count next, before any count or after a first round."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from scipy.spatial import cKDTree

from lossmap.base.errors import SettingsError, TooLittleData
from lossmap.base.field import Field, FieldMap
from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.settings import Settings
from lossmap.clean import clean, cut_area
from lossmap.loss.stops import USUAL_CLUMPING, seed_mass_g
from lossmap.project import project, utm_crs
from lossmap.read import read_boundary, read_counts, read_field, read_points
from lossmap.report.plan_files import write_plan
from lossmap.report.stops_plan import StopsPlan, needed_in_words, said_of_plan, values_of_plan
from lossmap.stops import MOST_NEEDED, CountDoubt, DriverDoubt, Ground, StopCounts, farthest, next_stops, plan_table, spread
from lossmap.surfaces import Counted, CountModel, by_pass, dense, placed
from lossmap.surfaces.counts import INTERCEPT_SD, LATTICE, RANGE, ROUGH, SD, SLOPE_SD
from lossmap.surfaces.loss import KNOT_QUANTILES
from lossmap.surfaces.positions import parted
from lossmap.zones.response import FOUND, MODERATE, STEPS

from .map_field import Stage, made_map
from .progress import Stages
from .whole import apart, whole_files

__all__ = ["NUMBER", "Planned", "made_plan", "plan_stops"]

#: Stops of a plan where nobody says how many: what one or two people count in a day (common practice, no source).
NUMBER = 24
#: Beyond it nobody walks.
MOST_NUMBER = 500
# Frames at each position of a stop: for the walk to a stop four tell far more than one (simulations: 24 stops
# of four frames map as well as 48 to 96 of one).
FRAMES = 4
# Counts that the model is conditioned on to learn how loss changes over the field; its work grows with their third power.
MOST_COUNTS = 300

# A verdict is planned for a little more than it takes: frames are laid some metres off, where the grain was not quite
# as dry nor the machine as fast as planned (made fields, planned, counted and mapped again, else fell short by half).
AMPLE = 0.95

# Values of sd, range, clumping and knots over which a verdict is averaged.
DRAWS = 18

#: Each driver's column, how it becomes a layer, and its words.
LAYERS = {"speed": ("speed_m_s", by_pass, "ground speed"), "dryness": ("moisture_pct", dense, "moisture")}


@dataclass(frozen=True)
class Planned:
    """Where a plan lies, and what it says in one line and as values."""

    file: Path
    sentence: str
    values: Mapping[str, Any]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Cut:
    """What is known of a field's ground: its edge, the records that cut it, and the machine's layers over its cells."""

    grid: Grid
    outline: shapely.Geometry
    points: gpd.GeoDataFrame
    layers: Mapping[str, Surface]


def plan_stops(path: Path, settings: Settings, out: Path, number: int = NUMBER, bar: bool = False) -> Planned:
    """Plan stops for the field of a folder, into ``out/<folder's name>``; what else lies there stays.

    Raises
    ------
    LossmapError
        Whatever is wrong with its files, facts, settings, the number or the place for its
        results; an earlier plan is left as it was.
    """
    if not 1 <= number <= MOST_NUMBER:
        raise SettingsError(f"--number: {number} is not a number of stops to count; give 1 to {MOST_NUMBER}")
    field = read_field(path)
    target = out / field.id
    apart(field.folder, target)
    stage = Stages(field.id, bar)
    plan = made_plan(field, settings, number, stage)
    with stage("write"), whole_files(target) as folder:
        files = write_plan(plan, folder)
    return Planned(target / files[-1].name, said_of_plan(plan), values_of_plan(plan), (*plan.notes, *needed_in_words(plan)))


def made_plan(field: Field, settings: Settings, number: int, stage: Stage) -> StopsPlan:
    """The stops that tell most of one field.

    Before any count, and while the stops are too few for a map, they are spread. After that
    they are those that shrink the doubt of undecided verdicts and of the map most.

    Raises
    ------
    LossmapError
    """
    if not field.facts.points and field.facts.boundary is None:
        raise TooLittleData(
            f"{field.id}/field.toml: names neither a log nor a boundary, so there is no ground to place stops on; "
            'add boundary = "boundary.geojson", or a [[points]] with path = "points.csv"'
        )
    field_map = made_map(field, settings, stage) if field.facts.counts else None
    cut = _cut_uncounted(field, settings, stage) if field_map is None else _cut_of(field_map)
    with stage("stops"):
        stops = None if field_map is None else field_map.losses
        ground, notes = _ground(cut, field, stops)
        if field_map is not None and len(field_map.losses) >= settings.surfaces.least_stops:
            plan = _fitted_plan(field_map, ground, number)
        else:
            plan = _spread_plan(field, settings, ground, number, stops)
    if len(plan.stops) < number:
        notes = (*notes, f"there is room for {len(plan.stops)} stops only ({number} were asked for)")
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
        if len(points):
            points, _ = clean(points, field, settings.clean, edge, log.timings)
        outline = edge if edge is not None else cut_area(points, field.facts.header_width)
        if not shapely.area(outline) > 0:
            raise TooLittleData(
                f"{field.id}: the log does not move, so no field can be seen in it; check its positions, or give a boundary"
            )
        grid = Grid.covering(outline, crs, settings.grid.cell)
    with stage("surfaces"):
        return _Cut(grid, outline, points, _layers(points, grid, outline, settings))


def _crs(points: gpd.GeoDataFrame, boundary: gpd.GeoSeries | None) -> pyproj.CRS:
    """The field's metric system: by its log, else by the middle of its boundary."""
    if len(points) or boundary is None:
        return utm_crs(points)
    return utm_crs(gpd.GeoDataFrame(geometry=boundary.representative_point()))


def _layers(points: gpd.GeoDataFrame, grid: Grid, outline: shapely.Geometry, settings: Settings) -> dict[str, Surface]:
    if not len(points):
        return {}
    inside = grid.inside(outline)
    placement = placed(points, grid, inside, settings.surfaces)
    believed = points["flag"] == ""
    return {
        column: make(points, column, grid, inside, settings.surfaces, placement)
        for column, make, _ in LAYERS.values()
        if column in points and np.isfinite(points[column][believed]).any()
    }


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
    layers = (cut.layers.get(column) for column, _, _ in LAYERS.values())
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
    missing = [words for column, _, words in LAYERS.values() if column not in cut.layers]
    return [f"the log has no {words}, so stops are not chosen by it" for words in missing]


def _spread_plan(field: Field, settings: Settings, ground: Ground, number: int, stops: gpd.GeoDataFrame | None) -> StopsPlan:
    """Before the counts can say anything: far from one another and from stops counted."""
    basis = ("place", *(name for name, values in _drivers_of(ground).items() if values is not None))
    if stops is None:
        return StopsPlan(field, settings, plan_table(ground, farthest(ground, number), np.empty((0, 2)), (), FRAMES), basis)
    picked = farthest(ground, number, _counted(stops))
    return StopsPlan(field, settings, plan_table(ground, picked, _places(stops), list(stops["stop_id"]), FRAMES), basis, len(stops))


def _fitted_plan(field_map: FieldMap, ground: Ground, number: int) -> StopsPlan:
    """After a first round: what the counts leave in doubt decides."""
    doubt, among = _doubts(field_map, ground)
    picked = next_stops(ground, doubt, number, field_map.field.facts.header_width, among)
    stops = plan_table(ground, picked, doubt.places_m, list(field_map.losses["stop_id"]), FRAMES)
    basis = ("place", *picked.needed)
    return StopsPlan(field_map.field, field_map.settings, stops, basis, len(field_map.losses), picked.needed, MOST_NEEDED, True)


def _doubts(field_map: FieldMap, ground: Ground) -> tuple[CountDoubt, tuple[CountDoubt, ...]]:
    """What the counts leave in doubt: of the map at the middle of the model's posterior, of the verdicts over its priors.

    A verdict is reckoned with the average over the priors of sd, range and clumping and over
    the knots; so is how many stops it takes.
    """
    parts = parted(field_map.losses, field_map.seed_mass_g)[1]
    drivers = tuple(_driver(field_map, ground, name) for name, values in _drivers_of(ground).items() if values is not None)
    places_m = _places(field_map.losses)
    # seeds expected and clumping both grow with the area, and so does what it tells
    more = FRAMES / float(read_counts(field_map.field)["frames"].median())
    sd, range_m, size = _model(field_map.losses, parts, drivers, ground).typical()
    told = _told(parts, size)
    total_sd, precision = told.of_total(sd)
    one_more = float(np.median(told.more(more).of_total(sd)[1]))
    of_map = CountDoubt(total_sd, range_m, INTERCEPT_SD, places_m, precision, one_more, drivers)
    among = []
    for draw, row in enumerate(np.searchsorted(np.cumsum(LATTICE.prior), (np.arange(DRAWS) + 0.5) / DRAWS)):
        told = _told(parts, LATTICE.size[row])
        one_sd, precision = told.of_slopes(SD[LATTICE.sd[row]])
        one_more = float(np.median(told.more(more).of_slopes(SD[LATTICE.sd[row]])[1]))
        process, knots = LATTICE.range[row], _at_knots(drivers, field_map, ground, draw)
        range_m = RANGE[process] * _diagonal(ground)
        among.append(CountDoubt(one_sd, range_m, INTERCEPT_SD, places_m, precision, one_more, knots, bool(process >= ROUGH)))
    return of_map, tuple(among)


def _at_knots(drivers: tuple[DriverDoubt, ...], field_map: FieldMap, ground: Ground, draw: int) -> tuple[DriverDoubt, ...]:
    """The drivers at one of their knots each; nine draws go through all pairs."""
    out = []
    for place, driver in enumerate(drivers):
        zones = field_map.settings.zones
        given = zones.speed_above if driver.name == "speed" else zones.moisture_below
        knots = [given] if given is not None else np.nanquantile(np.asarray(_drivers_of(ground)[driver.name]), KNOT_QUANTILES[driver.name])
        out.append(replace(driver, knot=float(knots[draw // 3**place % len(knots)])))
    return tuple(out)


def _driver(field_map: FieldMap, ground: Ground, name: str) -> DriverDoubt:
    """What the map says of one driver; where its stops were all cut alike, as if nothing were known."""
    found, everywhere = field_map.drivers[name], np.asarray(_drivers_of(ground)[name])
    knot = found.reference if np.isfinite(found.reference) else float(np.nanmedian(everywhere))
    column = LAYERS[name][0]
    places_m = _places(field_map.losses)
    known = np.isfinite(everywhere)
    at_stops = everywhere[known][cKDTree(ground.places_m[known]).query(places_m)[1]]
    if column in field_map.losses:
        measured = field_map.losses[column].to_numpy(float)
        at_stops = np.where(np.isfinite(measured), measured, at_stops)
    step, _ = STEPS[name]
    wanted = AMPLE * float(np.log(MODERATE[name])) / step / FOUND
    return DriverDoubt(name, knot, at_stops, SLOPE_SD[name], wanted, found.verdict == "not enough counts")


def _model(losses: gpd.GeoDataFrame, parts: Counted, drivers: tuple[DriverDoubt, ...], ground: Ground) -> CountModel:
    """The count model, for what it learns of sd, range and clumping."""
    known = {driver.name: driver for driver in drivers}
    knots = [(known[name].knot,) if name in known else () for name in LAYERS]
    stops = Ground(ground.crs, _places(losses), *(known[name].at_stops if name in known else None for name in LAYERS))
    if len(parts.seeds) > MOST_COUNTS:
        number = int(MOST_COUNTS * len(losses) / len(parts.seeds))
        some = np.sort(spread(stops.places_m, stops.speed, stops.moisture, number))
        parts, stops = _of_stops(parts, some), stops.some(some)
    return CountModel(knots[0], knots[1], _diagonal(ground)).fit(stops.places_m, parts, stops.speed, stops.moisture)


def _of_stops(parts: Counted, some: np.ndarray) -> Counted:
    """The counts of some stops, in their new numbering."""
    rows = np.isin(parts.stop, some)
    return replace(
        parts,
        stop=np.searchsorted(some, parts.stop[rows]),
        seeds=parts.seeds[rows],
        area_m2=parts.area_m2[rows],
        sees=parts.sees[rows],
        breadth=parts.breadth[rows],
    )


def _told(parts: Counted, size: float) -> StopCounts:
    """What every count is expected to tell, at the field's mean and at one clumping."""
    rates = parts.rates()
    here = parts.sees * rates
    mean, clumped = parts.area_m2 * here.sum(axis=1), size * parts.breadth
    share = parts.worth * rates / (parts.worth @ rates)
    return StopCounts(parts.stop, here / here.sum(axis=1, keepdims=True), mean * clumped / (clumped + mean), share)


def _counted(stops: gpd.GeoDataFrame) -> Ground:
    """The stops counted so far, as ground."""
    values = (stops[column].to_numpy(float) if column in stops else None for column, _, _ in LAYERS.values())
    return Ground(stops.crs, _places(stops), *values)


def _drivers_of(ground: Ground) -> dict[str, Floats | None]:
    return dict(zip(LAYERS, (ground.speed, ground.moisture), strict=True))


def _places(table: gpd.GeoDataFrame) -> Floats:
    return np.asarray(shapely.get_coordinates(table.geometry.to_numpy()), float)


def _diagonal(ground: Ground) -> float:
    """Of the ground [m]; the model's ranges are shares of it."""
    return float(np.hypot(*np.ptp(ground.places_m, axis=0))) + 1.0
