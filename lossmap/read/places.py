"""Where a file's records lie: from its geometry or its columns, in the coordinate system that holds.

What a place may be hangs on its coordinate system, so it is here that degrees called
metres, feet called degrees, and longitude and latitude in each other's column are refused.
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pyproj

from lossmap.base.errors import ReadError, shown
from lossmap.base.grid import Floats
from lossmap.read.raw import Detected, Raw, column_numbers, crs_of
from lossmap.read.roles import cannot_be

__all__ = ["WGS84", "area_ha", "bare_places", "degrees_of", "places_of", "refuse_another_world", "unit_m"]

WGS84 = pyproj.CRS.from_epsg(4326)

# Eastings and northings of every national system are larger than this [m].
LOCAL_M = 20_000.0


def places_of(raw: Raw, roles: Mapping[str, Detected], crs: str | None) -> tuple[Floats, Floats, pyproj.CRS]:
    """x, y and their coordinate system: from the geometry, else from columns.

    Parameters
    ----------
    raw : Raw
    roles : mapping of str to Detected
    crs : str or None
        The coordinate system the field's owner wrote; it goes before the file's own.

    Raises
    ------
    ReadError
        No position, no coordinate system, or a coordinate that is none; names the row.
    """
    stated = crs_of(crs, raw.where) if crs else raw.crs
    in_columns = {"longitude", "latitude"} <= roles.keys()
    if raw.x is not None and raw.y is not None and (stated is not None or not in_columns):
        x, y = raw.x, raw.y
    elif in_columns:
        x, y = (column_numbers(raw, roles[role].column) for role in ("longitude", "latitude"))
        stated = stated if crs and stated else WGS84
    elif {"easting", "northing"} <= roles.keys():
        x, y = (_in_its_unit(raw, roles[role], stated) for role in ("easting", "northing"))
    else:
        names = ", ".join(str(name) for name in raw.columns.columns[:12])
        raise ReadError(f"{raw.where}: holds no position (columns {shown(names, 120)}); name longitude and latitude in [points.columns]")
    if stated is None:
        raise ReadError(f'{raw.where}: does not say its coordinate system; set crs = "EPSG:..." beside path in field.toml')
    if not (stated.is_geographic or stated.is_projected):
        raise ReadError(
            f'{raw.where}: crs {shown(crs or stated.name)} is no map of the ground; set crs = "EPSG:..." beside path in field.toml'
        )
    refuse_another_world(stated, raw.where, 'set crs = "EPSG:..." beside path in field.toml')
    if stated.is_geographic:
        _on_earth(raw, x, y)
    else:
        _not_degrees(raw, x, y, crs or stated.name)
    return x, y, stated


def bare_places(raw: Raw) -> tuple[Detected, ...]:
    """Columns called just x and y: degrees, or metres of a system; none where there are no two such columns of numbers.

    Numbers of degrees on a field-sized patch differ by less than one; numbers up to 180
    that differ by more are metres from a corner or the middle of the field, which no map
    can place.

    Raises
    ------
    ReadError
        Metres from a point of the field's own.
    """
    named = {str(column).strip().lower(): str(column) for column in raw.columns.columns}
    if not {"x", "y"} <= named.keys() or any(cannot_be(raw, "easting", named[axis]) for axis in "xy"):
        return ()
    x, y = (column_numbers(raw, named[axis]) for axis in "xy")
    spread = max(float(np.nanmax(side) - np.nanmin(side)) for side in (x, y))
    far = max(float(np.nanmax(np.abs(side))) for side in (x, y))
    if far < LOCAL_M and not (far <= 180 and spread < 1):
        raise ReadError(
            f"{raw.where}: columns {shown(named['x'])} and {shown(named['y'])} are metres from a point of their own "
            f"({spread:,.0f} m across), and no map can place them; add longitude and latitude, or easting and northing with their crs"
        )
    across, up, unit = ("longitude", "latitude", "deg") if far <= 180 else ("easting", "northing", "m")
    return tuple(Detected(role, named[axis], unit, "by its name and values", 1.0) for role, axis in ((across, "x"), (up, "y")))


def unit_m(crs: pyproj.CRS) -> float:
    """One of a system's own unit of length [m]; 1 where it counts in degrees."""
    return float(crs.axis_info[0].unit_conversion_factor) if crs.is_projected and crs.axis_info else 1.0


def degrees_of(x: Floats, y: Floats, crs: pyproj.CRS) -> tuple[Floats, Floats]:
    """The same places as longitude and latitude (WGS84), NaN where the system does not reach."""
    if crs == WGS84:
        return x, y
    longitude, latitude = pyproj.Transformer.from_crs(crs, WGS84, always_xy=True).transform(x, y)
    reached = np.isfinite(longitude) & np.isfinite(latitude)
    return np.where(reached, longitude, np.nan), np.where(reached, latitude, np.nan)


def area_ha(edge: gpd.GeoSeries) -> float:
    """How much ground an edge encloses [ha], in the zone it lies in."""
    return float(edge.to_crs(edge.estimate_utm_crs()).area.sum()) / 10_000


def refuse_another_world(crs: pyproj.CRS, where: str, remedy: str) -> None:
    """Refuse a system that cannot be brought to longitude and latitude: damaged, or of a body that is not the earth.

    Raises
    ------
    ReadError
    """
    try:
        pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)
    except pyproj.exceptions.ProjError as fault:
        raise ReadError(
            f"{where}: its coordinate system ({shown(crs.name)}) cannot be turned into longitude and latitude; {remedy}"
        ) from fault


def _in_its_unit(raw: Raw, role: Detected, crs: pyproj.CRS | None) -> Floats:
    """An easting or northing in the unit of its coordinate system, which may count in feet."""
    values = column_numbers(raw, role.column)
    ratio = role.factor / unit_m(crs) if crs is not None else 1.0
    # no unit written means the system's own, and survey feet are called feet
    return values if role.factor == 1.0 or abs(ratio - 1) < 1e-4 else values * ratio


def _on_earth(raw: Raw, x: Floats, y: Floats) -> None:
    known = np.isfinite(x) & np.isfinite(y)
    if known.any() and 90 < np.median(np.abs(y[known])) <= 180 and np.abs(x[known]).max() <= 90:
        row = int(np.flatnonzero(known)[0])
        raise ReadError(
            f"{raw.where}, row {raw.first_row + row}: longitude and latitude look swapped (latitude is {y[row]:g}); exchange the two"
        )
    for name, values, most in (("longitude", x, 180.0), ("latitude", y, 90.0)):
        wrong = np.flatnonzero(np.abs(values) > most)
        if wrong.size:
            more = f" ({wrong.size} such rows)" if wrong.size > 1 else ""
            raise ReadError(
                f"{raw.where}, row {raw.first_row + wrong[0]}: {name} {values[wrong[0]]:g} is outside -{most:g} to {most:g}{more}; "
                "correct it, or set crs where the places are not in degrees"
            )


def _not_degrees(raw: Raw, x: Floats, y: Floats, crs: str) -> None:
    known = np.isfinite(x) & np.isfinite(y)
    if known.any() and np.abs(x[known]).max() <= 180 and np.abs(y[known]).max() <= 90:
        raise ReadError(
            f"{raw.where}: crs {shown(crs)} is not in degrees, but its places are: those within +-180 are degrees, not metres "
            f'(first {x[known][0]:g}, {y[known][0]:g}); set crs = "EPSG:4326" beside path in field.toml'
        )
