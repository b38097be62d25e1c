"""The field's edge."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import shapely

from lossmap.base.errors import ReadError
from lossmap.base.field import Field
from lossmap.read.points import PointsRead
from lossmap.read.vector import read_frame

__all__ = ["read_boundary", "read_outline"]


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
    shapes = shapely.make_valid(frame.geometry[frame.geometry.notna()].to_numpy())
    polygons = [part for part in shapely.get_parts(shapes) if shapely.get_type_id(part) in (3, 6)]
    if not polygons or shapely.area(polygons).sum() == 0:
        raise ReadError(
            f"{where}: holds no polygon (found {', '.join(sorted(set(frame.geom_type.dropna())))}); draw the outline as a polygon"
        )
    if frame.crs is None:
        raise ReadError(f"{where}: does not say its coordinate system; save it as GeoJSON or with its .prj")
    return gpd.GeoSeries([shapely.union_all(polygons)], crs=frame.crs)
