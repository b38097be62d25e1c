"""Ground speed and moisture where the stops were cut and all over the field, and where an effect of them may begin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from lossmap.base.grid import Floats, Grid, Surface
from lossmap.base.settings import ZoneSettings
from lossmap.base.tables import DRIVE, LAYER_WORDS
from lossmap.surfaces.combinations import DRIVERS
from lossmap.surfaces.lattice import Whole

__all__ = ["Drivers", "knots"]

# Where no reference is set, knots at these parts of the field's own values: an effect that
# begins at the slowest (wettest) tenth is nearly a straight line, one that begins beyond
# the middle leaves few stops to see it.
KNOT_QUANTILES = {"speed": (0.1, 0.35, 0.6), "dryness": (0.4, 0.65, 0.9)}
# Stops that differ by no more than this [m/s or %] are all alike in a driver.
ALIKE = 1e-3


def knots(driver: str, values: Floats | None, settings: ZoneSettings) -> tuple[float, ...]:
    """Where a driver's effect may begin: the reference that was set, else parts of the field's own values.

    Parameters
    ----------
    driver : "speed" or "dryness"
    values : array or None
        Ground speed [m/s] or moisture [%] all over the field, NaN where unknown; None gives no knot but one that was set.
    settings : ZoneSettings
    """
    given = settings.speed_above if driver == "speed" else settings.moisture_below
    if given is not None:
        return (given,)
    return () if values is None else tuple(float(knot) for knot in np.nanquantile(values, KNOT_QUANTILES[driver]))


@dataclass(frozen=True)
class Drivers:
    """Both drivers by name; one that counts cannot be compared by is None, and not among the layers.

    Attributes
    ----------
    at_stops : mapping of str to array ``[stop]`` or None
        Ground speed [m/s], moisture [%].
    at_cells : mapping of str to array ``[cell]`` or None
        The same in every cell of the field.
    layers : mapping of str to array, ``[row, col]``
        The same on the whole grid, without gaps.
    cell_of_stop : array of int, ``[stop]``
        Flat index of the nearest cell.
    why_not : mapping of str to str
        Of each that is None.
    """

    at_stops: Mapping[str, Floats | None]
    at_cells: Mapping[str, Floats | None]
    layers: Mapping[str, Floats]
    cell_of_stop: Whole
    why_not: Mapping[str, str]

    @classmethod
    def of(
        cls, losses: gpd.GeoDataFrame, layers: Mapping[str, Surface], grid: Grid, inside: npt.NDArray[np.bool_], too_few: str
    ) -> Drivers:
        """Read off the machine's layers; what a stop itself says of its speed and moisture goes before.

        Parameters
        ----------
        losses : LOSSES
        layers : mapping of str to Surface
            By column; gaps are filled with the nearest value.
        grid : Grid
        inside : array of bool, ``[row, col]``
            Cells of the field.
        too_few : str
            Why stops cannot be compared at all; "" where they can.
        """
        cell = _nearest_cell(grid, shapely.get_coordinates(losses.geometry.to_numpy()))
        filled = {driver: _filled(layers[DRIVE[driver]].mean) for driver in DRIVERS if _is_known(layers.get(DRIVE[driver]))}
        at_stops = {driver: _at_stops(losses, DRIVE[driver], values.ravel()[cell]) for driver, values in filled.items()}
        why_not = {driver: why for driver in DRIVERS if (why := _why_not(driver, at_stops.get(driver), too_few))}
        used = [driver for driver in DRIVERS if driver not in why_not]
        return cls(
            {driver: at_stops[driver] if driver in used else None for driver in DRIVERS},
            {driver: filled[driver][inside] if driver in used else None for driver in DRIVERS},
            {driver: filled[driver] for driver in used},
            cell,
            why_not,
        )


def _nearest_cell(grid: Grid, places_m: Floats) -> Whole:
    """Flat cell of each place, that of the grid's edge for places beyond it."""
    col = np.clip((places_m[:, 0] - grid.west_m) // grid.cell_m, 0, grid.cols - 1)
    row = np.clip((grid.north_m - places_m[:, 1]) // grid.cell_m, 0, grid.rows - 1)
    return np.asarray((row * grid.cols + col).astype(np.intp))


def _is_known(layer: Surface | None) -> bool:
    return layer is not None and bool(np.isfinite(layer.mean).any())


def _filled(values: Floats) -> Floats:
    """Gaps filled with the nearest value."""
    gaps = ~np.isfinite(values)
    if not gaps.any():
        return values.astype(float)
    nearest = ndimage.distance_transform_edt(gaps, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)], float)


def _at_stops(losses: gpd.GeoDataFrame, column: str, elsewise: Floats) -> Floats:
    """What each stop says of itself, else what lies in its cell."""
    own = losses[column].to_numpy(float) if column in losses.columns else np.full(len(losses), np.nan)
    return np.where(np.isfinite(own), own, elsewise)


def _why_not(driver: str, at_stops: Floats | None, too_few: str) -> str:
    """Why a driver is left out; "" where it is not."""
    if at_stops is None:
        return f"the log has no {LAYER_WORDS[driver]}"
    if too_few:
        return f"{too_few} too few to compare places"
    return f"{LAYER_WORDS[driver]} is the same at all stops" if np.ptp(at_stops) < ALIKE else ""
