"""A season: what each field's counts say by themselves, and what all fields say together.

`report` writes a field's `FieldEvidence` beside its map and `read` gives it back, so that a
season can be pooled without a second fit; `pool` makes a `Pooled` of many, `report` a page.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import shapely

from lossmap.base.estimates import NOTHING, Estimate, Verdict
from lossmap.base.settings import Settings

__all__ = [
    "DriverEvidence",
    "FieldEvidence",
    "LevelContrast",
    "Pooled",
    "PooledCurve",
    "PooledDriver",
    "Season",
    "ShrunkenSlope",
]


@dataclass(frozen=True)
class DriverEvidence:
    """What one field's counts say of the slope of log loss along one driver, in full.

    The posterior is a mixture of normals over the count model's combinations; over the
    prior, normal around 0, it is the field's evidence curve.

    Attributes
    ----------
    weights, means, sds : tuple of float
        The mixture; weights add to 1. Slopes are per m/s or per point of moisture.
    prior_sd : float
        Of the slope before anything was seen.
    expected_sd : float
        Posterior sd that was to be expected before any count was seen.
    reference : float
        Speed [m/s] or moisture [%] beyond which loss may rise, averaged over those tried.
    mean : float
        Mean of the driver over the field [m/s or %].
    beyond : tuple of float
        How far the field's ground lies beyond the reference, equally likely values, never negative.
    """

    weights: tuple[float, ...]
    means: tuple[float, ...]
    sds: tuple[float, ...]
    prior_sd: float
    expected_sd: float
    reference: float
    mean: float
    beyond: tuple[float, ...]


@dataclass(frozen=True)
class FieldEvidence:
    """What one mapped field brings to a season.

    Attributes
    ----------
    field_id : str
        The field's folder, below the season's.
    crop : str
    area_ha : float
    stops : int
    loss : mapping of str to Estimate
        ``total`` and every source that was told apart [kg/ha].
    drivers : mapping of str to DriverEvidence
        ``speed``, ``dryness``; a driver the field cannot speak of is not there.
    factors : mapping of str to str
        Of `tables.FACTORS`, those that field.toml gives.
    mass_doubt : float
        Log standard deviation of the losses from what a seed weighs, where no seed of this field
        was weighed: all such fields of a crop share it.
    log_loss_sd : float
        How much the logarithm of loss changes over the field beside its drivers (standard deviation).
    outline : shapely.Geometry
        The field's edge, on WGS84.
    """

    field_id: str
    crop: str
    area_ha: float
    stops: int
    loss: Mapping[str, Estimate]
    drivers: Mapping[str, DriverEvidence]
    factors: Mapping[str, str]
    mass_doubt: float = 0.0
    log_loss_sd: float = math.nan
    outline: shapely.Geometry = field(default_factory=shapely.Polygon)


@dataclass(frozen=True)
class ShrunkenSlope:
    """One field's slope in the light of all fields.

    Attributes
    ----------
    own, slope : Estimate
        By its own counts, and drawn towards the season's as far as its own leave room.
    chance : float
        That the slope is above 0 in this field, by its counts and the season's.
    tracks : bool
        Whether the field's verdict may rest on the season: `chance` reaches what it takes.
    """

    own: Estimate
    slope: Estimate
    chance: float
    tracks: bool


@dataclass(frozen=True)
class PooledDriver:
    """Whether loss tracks one driver within the fields of a season.

    Attributes
    ----------
    name : "speed" or "dryness"
    fields : int
        That carried evidence.
    verdict : Verdict
    slope : Estimate
        Mean over fields of the slope of log loss, per m/s or per point.
    effect : Estimate
        The same as a factor on loss for one `effect_step`.
    effect_step : str
        ``"+0.5 m/s"`` or ``"-2 points"``.
    chance : float
        That the mean slope is above 0.
    between_sd : Estimate
        How much slopes differ from field to field (standard deviation).
    leaning : int
        Fields whose own counts lean towards a slope above 0.
    share_kg_ha : Estimate
        Loss over all fields that goes with the driver beyond each field's reference, by area [kg/ha].
    hidden_correlation : Estimate
        Smallest correlation, within fields, of a hidden third cause with the driver that would
        explain the slope away, if that cause changed loss as much as loss changes for reasons unknown;
        low and high for the ends of the slope's interval. NaN where nothing tracks.
    between_fields : Estimate
        Slope over the fields' means: which fields lose more, shown for comparison, never a driver.
    shrunken : mapping of str to ShrunkenSlope
        By field.
    note : str
        Why nothing can be said, where nothing can.
    """

    name: str
    fields: int
    verdict: Verdict
    slope: Estimate
    effect: Estimate
    effect_step: str
    chance: float
    between_sd: Estimate
    leaning: int
    share_kg_ha: Estimate
    hidden_correlation: Estimate
    between_fields: Estimate
    shrunken: Mapping[str, ShrunkenSlope]
    note: str = ""


@dataclass(frozen=True)
class LevelContrast:
    """Loss in fields of one level of a factor against that in all others of the season.

    Attributes
    ----------
    factor : str
        A key of `tables.FACTORS`.
    level : str
    source : str
        ``header``, ``threshing`` or ``total``: what was compared.
    fields, others : int
    ratio : Estimate
        Loss here over loss there, crops apart, with the interval widened for the number of comparisons.
    worth_kg_ha : Estimate
        What that is on an average field [kg/ha]; above 0 where more is lost here.
    chance : float
        That more is lost here, before the comparisons are counted.
    told : bool
        Whether the difference holds with all comparisons counted.
    """

    factor: str
    level: str
    source: str
    fields: int
    others: int
    ratio: Estimate
    worth_kg_ha: Estimate
    chance: float
    told: bool


@dataclass(frozen=True)
class PooledCurve:
    """Factor on loss beyond the reference, over all fields and for each.

    Attributes
    ----------
    beyond : tuple of float
        Rising [m/s or points].
    factor : tuple of Estimate
        Of the mean slope.
    fields : mapping of str to tuple of float
        The shrunken slope's, by field.
    """

    beyond: tuple[float, ...] = ()
    factor: tuple[Estimate, ...] = ()
    fields: Mapping[str, tuple[float, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Pooled:
    """What the fields of a season say together.

    Attributes
    ----------
    fields : int
        Mapped fields.
    area_ha : float
    loss : mapping of str to Estimate
        Mean by area over the fields where it is known [kg/ha]: ``total`` and sources.
    by_crop : mapping of str to (mapping of str to Estimate)
        The same of each crop's fields alone.
    drivers : mapping of str to PooledDriver
        ``speed`` and ``dryness``, always both.
    curves : mapping of str to PooledCurve
    contrasts : tuple of LevelContrast
        In the order of `tables.FACTORS`, the largest first within each.
    notes : tuple of str
    """

    fields: int = 0
    area_ha: float = 0.0
    loss: Mapping[str, Estimate] = field(default_factory=lambda: {"total": NOTHING})
    by_crop: Mapping[str, Mapping[str, Estimate]] = field(default_factory=dict)
    drivers: Mapping[str, PooledDriver] = field(default_factory=dict)
    curves: Mapping[str, PooledCurve] = field(default_factory=dict)
    contrasts: tuple[LevelContrast, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Season:
    """Every field of a folder, and what they say together.

    Attributes
    ----------
    name : str
        The folder's.
    fields : SEASON
        Mapped and failed ones; a failed one's outline is an empty polygon.
    pooled : Pooled
    settings : Settings
    made_on : date
    """

    name: str
    fields: gpd.GeoDataFrame
    pooled: Pooled
    settings: Settings
    made_on: datetime.date
