"""The field's edge."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.errors import ReadError, shown
from lossmap.base.field import Field
from lossmap.read.places import refuse_another_world
from lossmap.read.points import PointsRead
from lossmap.read.vector import read_frame

__all__ = ["read_boundary", "read_outline"]

#: Some hundred come of a shaky hand.
MOST_CROSSINGS = 2_000


def read_boundary(field: Field, log: PointsRead | None = None) -> gpd.GeoSeries | None:
    """The boundary file's polygons as one geometry with its coordinate system; if the facts name none, the log's, if it states one.

    A self-crossing ring is mended, holes stay holes. Areas stated in the file are not read.

    Raises
    ------
    ReadError
        Damaged, without polygons, or without a coordinate system.
    """
    name = field.facts.boundary
    if name is None:
        return log.edge if log is not None else None
    return read_outline(field.file(name), f"{field.id}/{name}")


def read_outline(path: Path, where: str) -> gpd.GeoSeries:
    """The polygons of a file as one geometry with its coordinate system.

    Raises
    ------
    ReadError
        Damaged, without polygons, or without a coordinate system.
    """
    frame = read_frame(path, where)
    if frame.active_geometry_name is None or frame.empty:
        raise ReadError(f"{where}: holds no polygon; give the field's outline as a polygon")
    drawn = frame.geometry.to_numpy()
    drawn = drawn[~shapely.is_missing(drawn)]
    if not np.isfinite(shapely.get_coordinates(drawn)).all():
        raise ReadError(f"{where}: has a corner that is no place (not a number, or without end); export it again")
    _refuse_tangle(drawn, where)
    polygons = [part for part in shapely.get_parts(shapely.make_valid(drawn)) if shapely.get_type_id(part) in (3, 6)]
    if not polygons or shapely.area(polygons).sum() == 0:
        found = ", ".join(sorted(set(frame.geom_type.dropna())))
        raise ReadError(f"{where}: holds no polygon with an area (found {found or 'nothing'}); draw the outline as a polygon")
    if frame.crs is None:
        raise ReadError(f"{where}: does not say its coordinate system; save it as GeoJSON or with its .prj")
    refuse_another_world(frame.crs, where, "save it as GeoJSON")
    outline = gpd.GeoSeries([shapely.union_all(polygons)], crs=frame.crs)
    _refuse_unearthly(outline, where)
    return outline


def _refuse_tangle(drawn: np.ndarray, where: str) -> None:
    """Refuse rings that cross themselves so often that mending them takes minutes: it grows with the square of the crossings."""
    for shape in drawn[~shapely.is_valid(drawn)]:
        corners, ring = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(shape)), return_index=True)
        edges = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1)[ring[:-1] == ring[1:]])
        tree, crossings = shapely.STRtree(edges), 0
        for first in range(0, len(edges), 100):
            some = edges[first : first + 100]
            # each pair is found twice, and each edge meets itself and its two neighbours
            crossings += max(tree.query(some, predicate="intersects").shape[1] - 3 * len(some), 0) // 2
            if crossings > MOST_CROSSINGS:
                raise ReadError(f"{where}: an outline crosses itself more than {MOST_CROSSINGS:,} times; draw it again")


def _refuse_unearthly(outline: gpd.GeoSeries, where: str) -> None:
    """Refuse an outline whose coordinates are no places in its system."""
    west, south, east, north = outline.total_bounds
    if not np.isfinite(outline.to_crs(4326).total_bounds).all() or (
        outline.crs.is_geographic and max(-west, east, -south * 2, north * 2) > 180
    ):
        swapped = outline.crs.is_geographic and max(-south, north) <= 180 and max(-west, east) <= 90
        found = "longitude and latitude look swapped: exchange the two" if swapped else "give the coordinate system it is in"
        raise ReadError(f"{where}: {west:g}, {south:g} is no place in {shown(outline.crs.name)}; {found}")
