"""A field's counts added up: seeds and ears at each stop and position, on how much ground.

What cannot be meant (a position that is none, a row that says nothing, frames of one stop
far apart, a list that follows itself) is refused here, all of it in one message.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from lossmap.base.errors import TableError, TooLittleData, shown
from lossmap.base.estimates import Estimate
from lossmap.base.field import Field
from lossmap.base.grid import Floats
from lossmap.base.settings import LossSettings
from lossmap.base.tables import POSITIONS
from lossmap.loss.arithmetic import concentration_ratio, seeds_from_mass

__all__ = ["Tally", "tally"]

Bools = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.intp]
Objects = npt.NDArray[np.object_]

# A discharge as wide as the header, give or take rounding, concentrates nothing.
SAME_WIDTH = 1e-3
# What an ear weighs is averaged over ears; so little more keeps the mass of a stop that found none.
HARDLY_AN_EAR = 1e-6
# Counts above 0 that a list must hold before its following itself is no chance.
LEAST_COPIED = 4


@dataclass(frozen=True)
class Tally:
    """The sums, NaN where nothing was counted.

    Attributes
    ----------
    stop_id, places : array, ``[stop]``
        Names, in the order in which stops first occur, and points [m].
    seeds, area : array, ``[stop, position]``
        Seeds and the ground they were counted on [m2].
    ears, ear_area : array, ``[stop, position]``
        Ears likewise.
    ear_g, ear_doubt : array, ``[stop]``
        Grain on an ear [g] and its log standard deviation.
    weighed : array, ``[stop]``
        Share of the seeds that were weighed, whose loss does not hang on a seed's mass.
    frame_m2 : float
        Middle area of one frame [m2].
    seed_mass_g, seed_doubt : float
        Of a thousand seeds [g], and its log standard deviation.
    ratio : float
        How much denser residue lies behind the combine than it was cut.
    """

    stop_id: Objects
    places: Objects
    seeds: Floats
    area: Floats
    ears: Floats
    ear_area: Floats
    ear_g: Floats
    ear_doubt: Floats
    weighed: Floats
    frame_m2: float
    seed_mass_g: float
    seed_doubt: float
    ratio: float

    @property
    def has_ears(self) -> Bools:
        """Whether ears were counted at each stop, ``[stop]``."""
        return np.asarray(np.isfinite(self.ears).any(axis=1))

    @property
    def spread_over_header(self) -> bool:
        """Whether residue lies over the width it was cut from, so that a count behind is the total."""
        return abs(self.ratio - 1) < SAME_WIDTH

    def ears_behind(self) -> tuple[Floats, Floats]:
        """Ears and their area [m2] behind the header, wherever they were counted, ``[stop]``; NaN where nowhere."""
        nowhere = np.isnan(self.ears[:, 1:]).all(axis=1)
        number, area = (np.where(nowhere, np.nan, np.nansum(part[:, 1:], axis=1)) for part in (self.ears, self.ear_area))
        return number, area


def tally(counts: gpd.GeoDataFrame, field: Field, settings: LossSettings, seed_mass_g: Estimate) -> Tally:
    """Add up the rows of each stop and position.

    Parameters
    ----------
    counts : COUNTS
    field : Field
    settings : LossSettings
    seed_mass_g : Estimate
        Mass of a thousand seeds [g]; ``grams`` count as the seeds that weigh as much.

    Raises
    ------
    TableError
        Rows without a count, positions that are none, ears of unknown mass, frames of
        one stop further apart than ``position_scatter`` and ``join_distance`` together, or
        every row twice.
    TooLittleData
        There are no rows.
    """
    _refuse(counts, field, settings)
    at, names = _Rows.of(counts)
    seeds, from_mass = _seeds(counts, seed_mass_g.mean)
    ears, frame = counts["ears"].to_numpy(float), counts["frame_m2"].to_numpy(float)
    has_seeds, has_ears = np.isfinite(seeds), np.isfinite(ears)
    found = np.where(has_ears, np.nan_to_num(ears) + HARDLY_AN_EAR, 0.0)
    ear_g, ear_known = _ear_mass(counts, field)
    of_seeds = at.added(seeds, has_seeds)
    return Tally(
        names,
        at.first_places(counts),
        of_seeds,
        at.added(frame, has_seeds),
        at.added(ears, has_ears),
        at.added(frame, has_ears),
        at.mean(ear_g, found),
        at.mean(np.where(ear_known, 0.0, settings.ear_mass_doubt / 100), found),
        at.summed(np.where(from_mass, seeds, 0.0)) / np.maximum(np.nansum(of_seeds, axis=1), 1e-9),
        float(np.median(frame[has_seeds] / counts["frames"].to_numpy(float)[has_seeds])) if has_seeds.any() else 1.0,
        seed_mass_g.mean,
        seed_mass_g.log_sd,
        concentration_ratio(field.facts.header_width, field.discharge_width_m),
    )


@dataclass(frozen=True)
class _Rows:
    """Number of the stop and of the position of each row of counts, and how its values become those of stops."""

    stop: Whole
    place: Whole
    stops: int

    @classmethod
    def of(cls, counts: gpd.GeoDataFrame) -> tuple[_Rows, Objects]:
        """And the stops' names, in the order in which they first occur."""
        stop, names = pd.factorize(counts["stop_id"])
        place = pd.Categorical(counts["position"], POSITIONS).codes.astype(int)
        return cls(stop, place, len(names)), np.asarray(names, dtype=object)

    def added(self, values: Floats, rows: Bools) -> Floats:
        """Sum over the chosen rows of each stop and position, ``[stop, position]``; NaN where there are none."""
        out = np.full((self.stops, len(POSITIONS)), np.nan)
        out[self.stop[rows], self.place[rows]] = 0.0
        np.add.at(out, (self.stop[rows], self.place[rows]), values[rows])
        return out

    def summed(self, values: Floats) -> Floats:
        """Over all rows of each stop, ``[stop]``."""
        return np.asarray(np.bincount(self.stop, values, self.stops), float)

    def mean(self, values: Floats, weight: Floats) -> Floats:
        """Weighted, over all rows of each stop, ``[stop]``; 0 where nothing weighs."""
        return self.summed(values * weight) / np.maximum(self.summed(weight), 1e-12)

    def first_places(self, counts: gpd.GeoDataFrame) -> Objects:
        """Geometry of each stop's first position in the combine's order."""
        order = np.lexsort((np.arange(self.stop.size), self.place, self.stop))
        _, first = np.unique(self.stop[order], return_index=True)
        return np.asarray(counts.geometry.to_numpy()[order[first]], dtype=object)


def _refuse(counts: gpd.GeoDataFrame, field: Field, settings: LossSettings) -> None:
    if counts.empty:
        raise TooLittleData(f"{field.id}: the counts hold no rows (0, needs 1); count at a few stops first")
    faults = [*_row_faults(counts, field), *_far_apart(counts, settings), *_copied(counts)]
    if faults:
        raise TableError(f"{field.id}, counts: " + "; ".join(faults))


def _row_faults(counts: gpd.GeoDataFrame, field: Field) -> list[str]:
    """Rows that say nothing, or something that cannot be turned into loss."""
    faults = []
    strange = ~counts["position"].isin(POSITIONS)
    if strange.any():
        faults.append(
            f'stop {_first(counts["stop_id"], strange)}: "{_first(counts["position"], strange)}" is no position; '
            f"the positions are {', '.join(POSITIONS)}"
        )
    empty = counts[["seeds", "grams", "ears"]].isna().all(axis=1)
    if empty.any():
        faults.append(f"stop {_first(counts['stop_id'], empty)}: neither seeds, grams nor ears are given; write 0 where none was found")
    massless = counts["ears"].gt(0) & counts["grams_per_ear"].isna()
    if massless.any() and field.crop.ear_grain_g is None:
        name = _first(counts["stop_id"], massless)
        faults.append(f"stop {name}: ears of {field.crop.name} have no mass in the crop table; add grams_per_ear")
    return faults


def _first(column: pd.Series, rows: pd.Series) -> str:
    return shown(column[rows].iloc[0])


def _far_apart(counts: gpd.GeoDataFrame, settings: LossSettings) -> list[str]:
    """Stops whose frames lie too far apart to be one stop."""
    most = settings.position_scatter + settings.join_distance
    place = pd.DataFrame(shapely.get_coordinates(counts.geometry.to_numpy()), columns=["east", "north"])
    by_stop = place.groupby(counts["stop_id"].to_numpy(), sort=False)
    # A box no wider than the limit holds no pair further apart than it; only wider ones are looked into.
    box = np.hypot(*(by_stop.max() - by_stop.min()).to_numpy().T)
    faults = []
    for name in by_stop.max().index[box > most]:
        of_stop = place[(counts["stop_id"] == name).to_numpy()].to_numpy()
        apart = float(np.hypot(*(of_stop[:, None] - of_stop[None]).transpose(2, 0, 1)).max())
        if apart > most:
            faults.append(f"stop {shown(name)}: its frames lie {apart:.0f} m apart (at most {most:.0f} m); give them different stops")
    return faults


def _seeds(counts: gpd.GeoDataFrame, seed_mass_g: float) -> tuple[Floats, Bools]:
    """Seeds of each row, and whether they were weighed instead of counted."""
    seeds, weighed = counts["seeds"].to_numpy(float), seeds_from_mass(counts["grams"].to_numpy(float), seed_mass_g)
    from_mass = np.isnan(seeds) & np.isfinite(weighed)
    return np.where(from_mass, weighed, seeds), from_mass


def _ear_mass(counts: gpd.GeoDataFrame, field: Field) -> tuple[Floats, Bools]:
    """Grain on one ear [g] of each row, and whether it was weighed."""
    given = counts["grams_per_ear"].to_numpy(float)
    usual = field.crop.ear_grain_g.mean if field.crop.ear_grain_g else 0.0
    return np.where(np.isfinite(given), given, usual), np.isfinite(given)


def _copied(counts: gpd.GeoDataFrame) -> list[str]:
    """A list that follows itself, count by count: pasted twice, or its file named twice. Frames laid apart never count alike all along."""
    said = ["stop_id", "seeds", "grams", "ears", "frame_m2"]
    rows = counts[said].assign(easting_m=counts.geometry.x, northing_m=counts.geometry.y)
    found = counts[["seeds", "grams", "ears"]].gt(0).any(axis=1)
    if found.sum() < 2 * LEAST_COPIED:
        return []
    for _, of_position in rows.groupby(counts["position"].to_numpy(), sort=False):
        first, second = (of_position.iloc[part].reset_index(drop=True) for part in np.array_split(np.arange(len(of_position)), 2))
        if not first.equals(second):
            return []
    return [f"all {len(counts) // 2} counts stand there twice (stop {shown(counts['stop_id'].iloc[0])} and all others); leave out the copy"]
