"""Where loss tracks a driver: cells to polygons."""

from __future__ import annotations

import string
from collections.abc import Iterator, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pyproj
import shapely
from scipy import ndimage

from lossmap.base.estimates import Driver
from lossmap.base.grid import Surface
from lossmap.base.settings import ZoneSettings
from lossmap.base.tables import DRIVER_WORDS, ZONES

__all__ = ["zones"]

Bools = npt.NDArray[np.bool_]

#: How a driver is spoken of in `why`.
BEYOND = {"speed": "was cut faster than {:.2g} m/s", "dryness": "was drier than {:.3g} % when cut"}
#: Parts of a zone lie at most twice this many cells apart (20 m at 5 m a cell: about two headers).
JOINED_CELLS = 2


def zones(
    loss: Surface,
    excess: Mapping[str, Surface],
    chance: Mapping[str, Surface],
    drivers: Mapping[str, Driver],
    outline: shapely.Geometry,
    settings: ZoneSettings,
) -> gpd.GeoDataFrame:
    """Outline the places that lose more than the rest of the field along a driver.

    Only drivers whose verdict is ``tracks`` make zones. A zone is all cells, at
    most a few cells apart, whose chance of an excess that matters reaches ``zone_chance``; one
    smaller than ``least_area`` is left out. With less than about 200 counts the outline
    is rough: it says where to look, not where to draw a line.

    Parameters
    ----------
    loss : Surface
        ``loss_kg_ha``.
    excess, chance : mapping of str to Surface
        ``excess_kg_ha`` and ``chance_pct`` of each driver.
    drivers : mapping of str to Driver
    outline : shapely geometry
        Edge of the field; zones are cut to it.
    settings : ZoneSettings

    Returns
    -------
    ZONES
        Largest loss in all (excess times area) first, so zone A is the one to see to.
        Each interval is the mean of its cells' intervals, as if all cells erred together:
        it is on the wide side. No rows where nothing may be said.
    """
    rows = [
        row
        for name, driver in drivers.items()
        if driver.verdict == "tracks" and name in chance
        for row in _of_driver(driver, loss, excess[name], chance[name], outline, settings)
    ]
    rows.sort(key=lambda row: -row["excess_kg_ha"] * row["area_ha"])
    for number, row in enumerate(rows):
        row["zone_id"] = _letter(number)
    return ZONES.check(_table(rows, loss.grid.crs))


def _of_driver(
    driver: Driver, loss: Surface, excess: Surface, chance: Surface, outline: shapely.Geometry, settings: ZoneSettings
) -> Iterator[dict[str, Any]]:
    """One row for each zone of one driver."""
    chosen = np.nan_to_num(chance.mean) >= 100 * settings.zone_chance
    # what lies within a few cells is one zone of several parts: fast passes alternate with slow ones
    labels, count = ndimage.label(ndimage.binary_dilation(chosen, iterations=JOINED_CELLS))
    labels[~chosen] = 0
    least = settings.least_area / loss.grid.cell_ha
    for label, size in enumerate(np.bincount(labels.ravel(), minlength=count + 1)):
        if label and size >= least:
            cells = labels == label
            polygon = shapely.intersection(loss.grid.polygon(cells), outline)
            if shapely.area(polygon) > 0:
                yield _row(driver, cells, polygon, loss, excess, chance)


def _row(driver: Driver, cells: Bools, polygon: shapely.Geometry, loss: Surface, excess: Surface, chance: Surface) -> dict[str, Any]:
    row: dict[str, Any] = {"reason": driver.name, "area_ha": float(shapely.area(polygon)) / 10_000, "geometry": polygon}
    for what, surface in (("loss", loss), ("excess", excess)):
        for end, part in (("", surface.mean), ("low_", surface.low), ("high_", surface.high)):
            row[f"{what}_{end}kg_ha"] = float(np.mean(part[cells], dtype=float))
    row["chance_pct"] = float(np.mean(chance.mean[cells], dtype=float))
    row["why"] = (
        f"This part of the field {BEYOND[driver.name].format(driver.reference)}; loss here tracks {DRIVER_WORDS[driver.name]}, "
        f"about {row['excess_kg_ha']:.3g} kg/ha ({row['excess_low_kg_ha']:.3g} to {row['excess_high_kg_ha']:.3g}) above the reference."
    )
    return row


def _table(rows: list[dict[str, Any]], crs: pyproj.CRS) -> gpd.GeoDataFrame:
    names = [column.name for column in ZONES.columns]
    frame = gpd.GeoDataFrame({name: [row[name] for row in rows] for name in names}, geometry=[row["geometry"] for row in rows], crs=crs)
    # without a row pandas cannot tell texts from numbers
    return frame if rows else frame.astype({column.name: object if column.kind == "text" else float for column in ZONES.columns})


def _letter(number: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    text = ""
    number += 1
    while number:
        number, last = divmod(number - 1, 26)
        text = string.ascii_uppercase[last] + text
    return text
