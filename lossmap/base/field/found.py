"""All that was made of a field: what cleaning found, and the map."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field

import geopandas as gpd
import pyproj
import shapely

from lossmap.base.estimates import NOTHING, Delay, Driver, EffectCurve, Estimate, Pace, ReelSpeed
from lossmap.base.field.facts import Field
from lossmap.base.grid import Surface
from lossmap.base.logloss import Typical
from lossmap.base.season import DriverEvidence
from lossmap.base.settings import Settings

__all__ = ["Cleaning", "FieldMap"]


@dataclass(frozen=True)
class Cleaning:
    """What `clean` found: how many records each reason took, and what the log had cut.

    Attributes
    ----------
    read, kept : int
        Records in, and records without a flag.
    flags : mapping
        Records by reason, only those that occur, in the order of `tables.FLAGS`.
    logged_ha, fresh_ha, union_ha : float
        Area by width times distance, as logged and as freshly cut, and area covered by all
        swaths together [ha]; NaN where unknown.
    before, after : mapping
        Of yield [kg/ha], of all and of kept records: ``mean, median, sd, cv_pct, skewness``;
        semivariance ``first_lag`` (nearest neighbours), ``nugget`` and ``sill`` [(kg/ha)2];
        ``mass_kg``, the grain of the records together at market moisture.
    flow_delay, moisture_delay : Delay
    notes : tuple of str
        What could not be done with this log, in words.
    pass_offset_pct : float
        Standard deviation of a pass's level against its neighbours [%].
    machine_factors : mapping of str to Estimate
        What each machine's yield was multiplied by, where machines were matched.
    """

    read: int
    kept: int
    flags: Mapping[str, int]
    logged_ha: float
    fresh_ha: float
    before: Mapping[str, float]
    after: Mapping[str, float]
    flow_delay: Delay
    moisture_delay: Delay
    notes: tuple[str, ...] = ()
    union_ha: float = math.nan
    pass_offset_pct: float = math.nan
    machine_factors: Mapping[str, Estimate] = dataclass_field(default_factory=dict)


@dataclass(frozen=True)
class FieldMap:
    """All that was made of one field; what `report` writes.

    Attributes
    ----------
    outline : shapely geometry
        The field's edge [m in `crs`]: the boundary given, or the area the log cut.
    outline_given : bool
        Whether it is the boundary given.
    points, losses, cells, zones : GeoDataFrame
        POINTS (cleaned), LOSSES, CELLS and ZONES in `crs`.
    loss : mapping of str to Estimate
        ``total, preharvest, header, threshing`` over the field [kg/ha]; `NOTHING` where
        the counts cannot separate a source.
    loss_of_yield_pct : mapping of str to Estimate
        The same as percent of total yield (harvested + lost).
    seed_mass_g : Estimate
        Mass of a thousand seeds used, with its doubt [g].
    loss_by_counting : Estimate
        The total with the doubt of counting alone [kg/ha].
    share_of_loss_pct : mapping of str to Estimate
        Share of each source in the loss [%].
    yield_kg_ha : float
        Mean yield over believed points, weighted by area [kg/ha at market moisture].
    surfaces : mapping of str to Surface
        ``loss_kg_ha, yield_kg_ha, speed_m_s, moisture_pct``, those that exist.
    drivers : mapping of str to Driver
        ``speed`` and ``dryness``.
    posteriors : mapping of str to DriverEvidence
        The whole posterior of each driver's slope, of those the counts can speak of.
    curves : mapping of str to EffectCurve
        What an average place loses along each driver.
    typical : Typical
        What the counts make likeliest of how loss changes over the field.
    notes : tuple of str
        What is missing and what follows from it, in plain words.
    inputs : mapping of str to str
        Input file to its SHA-256.
    pace : Pace or None
        Down to which ground speed slower pays; None where nobody asked.
    reel : ReelSpeed or None
        How fast the reel ran against the ground; None where `field.toml` does not say.
    """

    field: Field
    settings: Settings
    crs: pyproj.CRS
    outline: shapely.Geometry
    outline_given: bool
    points: gpd.GeoDataFrame
    cleaning: Cleaning
    losses: gpd.GeoDataFrame
    loss: Mapping[str, Estimate]
    loss_of_yield_pct: Mapping[str, Estimate]
    seed_mass_g: Estimate
    yield_kg_ha: float
    surfaces: Mapping[str, Surface]
    cells: gpd.GeoDataFrame
    drivers: Mapping[str, Driver]
    zones: gpd.GeoDataFrame
    typical: Typical
    notes: tuple[str, ...] = ()
    inputs: Mapping[str, str] = dataclass_field(default_factory=dict)
    pace: Pace | None = None
    reel: ReelSpeed | None = None
    loss_by_counting: Estimate = NOTHING
    share_of_loss_pct: Mapping[str, Estimate] = dataclass_field(default_factory=dict)
    curves: Mapping[str, EffectCurve] = dataclass_field(default_factory=dict)
    posteriors: Mapping[str, DriverEvidence] = dataclass_field(default_factory=dict)

    @property
    def area_ha(self) -> float:
        """Area of the field [ha]."""
        return float(shapely.area(self.outline)) / 10_000
