"""To the field's own metric coordinate system, in which everything after is computed."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from lossmap.base.errors import ReadError, shown

__all__ = ["near_together", "off_the_field", "project", "utm_crs"]

# Counts of one field lie on it, give or take a hand-held fix; two kilometres off they are another field's.
FARTHEST_COUNT_M = 2_000.0

# A system's metre may differ from the ground's by so much (UTM's by 0.001, those of countries and states by less than 0.005).
TRUE_TO = 0.01

# Beyond it a stop is no longer on a headland that the log left out, or beside a rough fix (common practice, no source).
OFF_FIELD_M = 50.0


def project(frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """`frame` in `crs`; its points by arrays, ten times quicker than point by point."""
    if frame.crs == crs:
        return frame
    if not (shapely.get_type_id(frame.geometry.to_numpy()) == 0).all():
        return frame.to_crs(crs)
    step = pyproj.Transformer.from_crs(frame.crs, crs, always_xy=True)
    x, y = step.transform(frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy())
    return frame.set_geometry(gpd.GeoSeries(shapely.points(x, y), index=frame.index, crs=crs))


def utm_crs(frame: gpd.GeoDataFrame) -> pyproj.CRS:
    """The metric system of a field: the file's own if it is one and true to scale there, else the UTM zone of its middle.

    The metres of a map of the world (Web Mercator) are 1.3 to 2 times those of the ground where grain grows.

    The middle is the median place: one record at (0, 0) does not move a field to Africa.
    """
    x, y = (float(np.nanmedian(part[np.isfinite(part)])) for part in (frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()))
    lon, lat = (x, y) if frame.crs.is_geographic else pyproj.Transformer.from_crs(frame.crs, "EPSG:4326", always_xy=True).transform(x, y)
    if (
        frame.crs.is_projected
        and all(axis.unit_name in ("metre", "meter") for axis in frame.crs.axis_info)
        and _is_true(frame.crs, lon, lat)
    ):
        return pyproj.CRS(frame.crs)
    zone = int(np.clip((lon + 180) // 6 + 1, 1, 60))
    return pyproj.CRS.from_epsg((32600 if lat >= 0 else 32700) + zone)


def _is_true(crs: pyproj.CRS, lon: float, lat: float) -> bool:
    """Whether a metre of the system is one of the ground, to a hundredth, both ways."""
    factors = pyproj.Proj(crs).get_factors(lon, lat)
    return max(abs(factors.meridional_scale - 1), abs(factors.parallel_scale - 1)) < TRUE_TO


def near_together(counts: gpd.GeoDataFrame, place: shapely.Geometry, what: str, where: str) -> None:
    """Refuse counts that cannot belong to this field.

    Parameters
    ----------
    counts : COUNTS
    place : shapely geometry
        Where the field is, in the counts' crs [m].
    what, where : str
        What `place` is and the field's id, for the message.

    Raises
    ------
    ReadError
    """
    away = shapely.distance(counts.geometry.to_numpy(), place)
    far = np.flatnonzero(~(away <= FARTHEST_COUNT_M))
    if far.size:
        worst = far[np.argmax(away[far])]
        raise ReadError(
            f"{where}: stop {shown(counts['stop_id'].iloc[worst])} lies {away[worst] / 1000:,.0f} km from the field's {what} "
            f"({far.size} of {len(counts)} counts are more than {FARTHEST_COUNT_M / 1000:g} km off); "
            "these are another field's counts, or longitude and latitude are swapped"
        )


def off_the_field(stops: gpd.GeoDataFrame, place: shapely.Geometry, what: str, where: str) -> tuple[str, ...]:
    """A note on stops that lie off the field, but not so far as to be another's; nothing where there are none.

    Parameters
    ----------
    stops : LOSSES
    place : shapely geometry
        Where the field is, in the stops' crs [m].
    what, where : str
        What `place` is and the field's id, for the note.
    """
    away = shapely.distance(stops.geometry.to_numpy(), place)
    off = np.flatnonzero(away > OFF_FIELD_M)
    if not off.size:
        return ()
    worst = off[np.argmax(away[off])]
    lie = "1 stop lies" if off.size == 1 else f"{off.size} of {len(stops)} stops lie"
    return (
        f"{where}: {lie} off the field (stop {shown(stops['stop_id'].iloc[worst])} is {away[worst]:,.0f} m from its {what}): "
        "they count for its mean all the same; check their places",
    )
