"""One field: its files to its map. The whole story, in the order in which the data goes."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Protocol

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.estimates import NOTHING, EffectCurve, Estimate, ReelSpeed
from lossmap.base.field import Field, FieldMap
from lossmap.base.grid import Grid, Surface
from lossmap.base.settings import Settings
from lossmap.base.tables import DRIVE
from lossmap.join import cells, stops_with_drive
from lossmap.loss import losses, seed_mass_g
from lossmap.loss.arithmetic import percent_of_total
from lossmap.project import near_together, off_the_field, project, utm_crs
from lossmap.read import fingerprints, read_boundary, read_counts, read_field, read_points
from lossmap.report import headline, price_usd_kg, summary, write
from lossmap.surfaces import LossSurface, loss_surface
from lossmap.zones import Costs, driver, effect_curve, pace, reel_speed, zones

from .ground import cleaned_log, cut_outline, machine_layers
from .made import Made
from .progress import Stages
from .whole import apart, whole_folder

__all__ = ["made_map", "map_field", "map_into"]


class Stage(Protocol):
    """Something that names and times a stage: ``with stage("clean"):``."""

    def __call__(self, name: str) -> AbstractContextManager[None]: ...


def map_field(path: Path, settings: Settings, out: Path, bar: bool = False) -> Made:
    """Map the field of a folder into ``out/<folder's name>``.

    Raises
    ------
    LossmapError
        Whatever is wrong with its files, facts, settings or the place for its results;
        an earlier result is left as it was.
    """
    field = read_field(path)
    target = out / field.id
    field_map = map_into(target, field, settings, Stages(field.id, bar))
    return Made(target / "map.html", headline(field_map), summary(field_map), (*field_map.notes, *field_map.cleaning.notes))


def map_into(target: Path, field: Field, settings: Settings, stage: Stages) -> FieldMap:
    """Map a field into the folder `target`, whole or not at all.

    Raises
    ------
    LossmapError
    """
    apart(field.folder, target)
    field_map = made_map(field, settings, stage)
    with stage("write"), whole_folder(target) as folder:
        write(field_map, folder, stage.seconds)
    return field_map


def made_map(field: Field, settings: Settings, stage: Stage) -> FieldMap:
    """All that can be said of one field."""
    costs = _costs(field, settings)
    with stage("read"):
        log, counts = read_points(field), read_counts(field)
        boundary = read_boundary(field, log)
        inputs = fingerprints(field)
    with stage("project"):
        crs = utm_crs(log.table if len(log.table) else counts)
        points, counts = project(log.table, crs), project(counts, crs)
        edge = boundary.to_crs(crs).iloc[0] if boundary is not None else None
    with stage("clean"):
        points, cleaning = cleaned_log(points, field, settings, edge, log.timings)
        outline = _outline(edge, points, counts, field)
        place = "boundary" if edge is not None else "log"
        near_together(counts, outline, place, field.id)
        grid = Grid.covering(outline, crs, settings.grid.cell, field.id)
        inside = grid.inside(outline)
    with stage("loss"):
        stops = stops_with_drive(losses(counts, field, settings.loss, settings.rng_seed), points, settings.loss.join_distance)
        seed_mass = seed_mass_g(field, settings.loss)
    with stage("surfaces"):
        layers = machine_layers(points, grid, inside, settings)
        counted = loss_surface(stops, layers, grid, inside, settings, seed_mass)
    with stage("zones"):
        drivers = {name: driver(evidence, settings.zones) for name, evidence in counted.evidence.items()}
        flagged = zones(counted.surface, counted.excess, counted.chance, drivers, outline, settings.zones)
    surfaces = {counted.surface.name: counted.surface, **layers}
    loss = {"total": counted.field_total, **counted.sources}
    speeds = _everywhere(layers, "speed_m_s")
    harvested = _mean_yield(points)
    return FieldMap(
        field=field,
        settings=settings,
        crs=crs,
        outline=outline,
        outline_given=edge is not None,
        points=points,
        cleaning=cleaning,
        losses=stops,
        loss=loss,
        loss_of_yield_pct={source: _percent(estimate, harvested) for source, estimate in loss.items()},
        seed_mass_g=seed_mass,
        yield_kg_ha=harvested,
        surfaces=surfaces,
        cells=cells(surfaces, inside),
        drivers=drivers,
        zones=flagged,
        typical=counted.typical,
        notes=(*log.notes, *off_the_field(stops, outline, place, field.id), *counted.notes),
        inputs=inputs,
        pace=pace(drivers["speed"], counted.evidence["speed"], speeds, counted.field_total, costs),
        reel=_reel(field, speeds),
        loss_by_counting=counted.by_counting,
        share_of_loss_pct=counted.source_pct,
        curves=_curves(counted, layers, stops),
        posteriors=counted.posteriors,
    )


def _outline(edge: shapely.Geometry | None, points: gpd.GeoDataFrame, counts: gpd.GeoDataFrame, field: Field) -> shapely.Geometry:
    """The boundary given, else what the log cut, else the ground the stops span."""
    if edge is not None:
        return edge
    if len(points):
        return cut_outline(points, field)
    return shapely.buffer(shapely.MultiPoint(counts.geometry.to_numpy()).convex_hull, field.facts.header_width)


def _everywhere(layers: Mapping[str, Surface], column: str) -> np.ndarray:
    """A layer's cells in a row; none where the log has no such layer."""
    return layers[column].mean.ravel().astype(float) if column in layers else np.empty(0)


def _curves(counted: LossSurface, layers: Mapping[str, Surface], stops: gpd.GeoDataFrame) -> dict[str, EffectCurve]:
    """What an average place loses along each driver."""

    def at_stops(column: str) -> np.ndarray:
        return stops[column].to_numpy(float) if column in stops else np.empty(0)

    return {
        name: effect_curve(counted.evidence[name], _everywhere(layers, column), at_stops(column), counted.field_total)
        for name, column in DRIVE.items()
    }


def _costs(field: Field, settings: Settings) -> Costs:
    """What an hour and the grain are worth, as far as they were given."""
    asked = settings.report
    price = None if asked.price is None else price_usd_kg(asked.price, field.crop)
    return Costs(asked.hour_value, price, field.facts.header_width, asked.field_efficiency)


def _reel(field: Field, speeds_m_s: np.ndarray) -> ReelSpeed | None:
    """How fast the reel ran, where `field.toml` says; corn is cut without one."""
    facts = field.facts
    if field.crop.name == "corn" or facts.reel_diameter is None or facts.reel_rpm is None:
        return None
    return reel_speed(facts.reel_diameter, facts.reel_rpm, speeds_m_s)


def _mean_yield(points: gpd.GeoDataFrame) -> float:
    """Grain over area of the believed records [kg/ha]."""
    believed = points[(points["flag"] == "").to_numpy()]
    if "yield_kg_ha" not in believed or believed.empty:
        return float("nan")
    area = (believed["fresh_width_m"] * believed.get("distance_m", 1.0)).to_numpy(dtype=float)
    good = np.isfinite(area) & (area > 0)
    usual = float(np.median(area[good])) if good.any() else 1.0
    return float(np.average(believed["yield_kg_ha"], weights=np.where(good, area, usual)))


def _percent(loss: Estimate, harvested_kg_ha: float) -> Estimate:
    if not loss or not np.isfinite(harvested_kg_ha):
        return NOTHING
    return Estimate(*(percent_of_total(part, harvested_kg_ha) for part in (loss.mean, loss.low, loss.high)))
