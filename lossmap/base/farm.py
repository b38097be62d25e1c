"""A farm before and during harvest: fields not yet cut, the machines that cut them, what grain is worth."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import pydantic
import shapely

from lossmap.base.errors import shown
from lossmap.base.estimates import Estimate
from lossmap.base.field import file_inside
from lossmap.base.reference import Crop
from lossmap.base.settings import Day, Hectares, Hours, Percent, Strict, Typed, setting

__all__ = [
    "Combine",
    "CombineFacts",
    "DiscountFacts",
    "Farm",
    "FarmFacts",
    "MeasuredLoss",
    "Money",
    "MoneyFacts",
    "Reading",
    "StandingFacts",
    "StandingField",
]

Name = Annotated[str, pydantic.Field(min_length=1, max_length=80)]


class StandingFacts(Strict):
    """One field of ``farm.toml`` (contract, part 5)."""

    name: Name
    crop: str
    area: Hectares = pydantic.Field(gt=0.01, le=20_000)
    expected_yield: str
    moisture: Percent | None = pydantic.Field(None, ge=5, le=60)
    measured_on: Day | None = None
    standability: float | None = pydantic.Field(None, ge=0, le=10)
    matured_on: Day | None = None
    location: tuple[float, float] | None = None
    boundary: str | None = None
    map: str | None = None

    @pydantic.field_validator("location")
    @classmethod
    def _on_earth(cls, place: tuple[float, float] | None) -> tuple[float, float] | None:
        if place is not None and not (abs(place[0]) <= 180 and abs(place[1]) <= 90):
            raise ValueError(f"[{place[0]:g}, {place[1]:g}] is no place; write [longitude, latitude] in degrees")
        return place

    @pydantic.model_validator(mode="after")
    def _dated(self) -> StandingFacts:
        if (self.moisture is None) != (self.measured_on is None):
            raise ValueError("moisture and measured_on belong together; give both, or neither and a row of readings")
        return self


class CombineFacts(Strict):
    """One machine."""

    name: str = "combine"
    rate: Annotated[float, Typed("ha/h")] = pydantic.Field(gt=0.05, le=60)
    hours_per_day: Hours = setting("10 h", gt=0.5, le=24)


class DiscountFacts(Strict):
    """From which moisture a buyer takes how much off the price."""

    above: Percent = pydantic.Field(ge=0, le=60)
    discount: Percent = pydantic.Field(ge=0, le=100)


class MoneyFacts(Strict):
    """What grain of one crop is worth, and what water in it costs; what is left out stands in the reference table."""

    price: str
    drying: str | None = None
    shrink: Percent | None = pydantic.Field(None, ge=0, le=5)
    handling: Percent | None = pydantic.Field(None, ge=0, le=5)
    discounts: tuple[DiscountFacts, ...] = ()


class FarmFacts(Strict):
    """What stands in ``farm.toml``."""

    name: Name
    weather: str
    history: tuple[str, ...] = ()
    readings: str | None = None
    dryer: str | None = None
    field: tuple[StandingFacts, ...] = pydantic.Field(min_length=1, max_length=5000)
    combine: tuple[CombineFacts, ...] = pydantic.Field(min_length=1, max_length=500)
    money: dict[str, MoneyFacts] = pydantic.Field(examples=['[money.corn] with price = "4.20 USD/bu"'])

    @pydantic.field_validator("history", mode="before")
    @classmethod
    def _one_or_many(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @pydantic.field_validator("field")
    @classmethod
    def _names_once(cls, fields: tuple[StandingFacts, ...]) -> tuple[StandingFacts, ...]:
        seen: set[str] = set()
        for one in fields:
            if one.name in seen:
                raise ValueError(f'two fields are called "{shown(one.name)}"; readings could not be told apart, so rename one')
            seen.add(one.name)
        return fields


@dataclass(frozen=True)
class Reading:
    """Moisture of a field's grain on a day [%, wet basis]."""

    on: datetime.date
    moisture_pct: float


@dataclass(frozen=True)
class MeasuredLoss:
    """What counts in a mapped field say of the machine.

    Attributes
    ----------
    share : Estimate
        Header and threshing loss as a share of total yield.
    moisture_pct : float
        At which it was cut.
    per_dry_point : float
        Log increase of loss for each point below `dry_below_pct`; 0 where no link was shown.
    dry_below_pct : float
        NaN where no link was shown.
    where : str
        The map it comes from.
    """

    share: Estimate
    moisture_pct: float
    per_dry_point: float
    dry_below_pct: float
    where: str


@dataclass(frozen=True)
class StandingField:
    """One field that waits to be cut, or was cut this season.

    Attributes
    ----------
    name : str
    crop : Crop
    area_ha, yield_kg_ha : float
        Yield at market moisture.
    readings : tuple of Reading
        In order of time, one a day at most.
    standability : float or None
        Stalks of ten that fail a push.
    matured_on, cut_on : date or None
    place : (longitude, latitude) or None
    outline : geometry or None
        Longitude and latitude.
    measured : MeasuredLoss or None
    """

    name: str
    crop: Crop
    area_ha: float
    yield_kg_ha: float
    readings: tuple[Reading, ...] = ()
    standability: float | None = None
    matured_on: datetime.date | None = None
    cut_on: datetime.date | None = None
    place: tuple[float, float] | None = None
    outline: shapely.Geometry | None = None
    measured: MeasuredLoss | None = None


@dataclass(frozen=True)
class Combine:
    """One machine: hectares in an hour of cutting, hours of a good day."""

    name: str
    rate_ha_h: float
    hours_per_day: float


@dataclass(frozen=True)
class Money:
    """What one crop's grain is worth.

    Attributes
    ----------
    price_usd_kg : float
        At market moisture.
    drying_usd_kg_point : float
        To dry one point off one kg of wet grain.
    shrink : float
        Share of the weight a buyer takes off for each point above market moisture; 0: the water alone.
    handling : float
        Share of dried grain lost in drying.
    discounts : tuple of (float, float)
        Moisture [%] above which a share of the price goes, rising; of several the last one reached holds.
    """

    price_usd_kg: float
    drying_usd_kg_point: float
    shrink: float
    handling: float
    discounts: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Farm:
    """All that is known of a farm at harvest.

    Attributes
    ----------
    dryer_kg_point_day : float or None
        Kilograms of wet grain times points that can be dried in a day; None where nothing limits it.
    weather, history, readings
        Files of weather and readings, by their names in the folder.
    """

    folder: Path
    name: str
    fields: tuple[StandingField, ...]
    combines: tuple[Combine, ...]
    money: dict[str, Money]
    weather: str
    history: tuple[str, ...] = ()
    dryer_kg_point_day: float | None = None
    readings: str | None = None

    @property
    def id(self) -> str:
        """The folder's name, which names the results."""
        return self.folder.name

    @property
    def long_day_h(self) -> float:
        """Hours of a good day of the machine that works longest: the day by which time is told."""
        return max(combine.hours_per_day for combine in self.combines)

    def pace_ha_h(self, combine: Combine) -> float:
        """Hectares a machine cuts in an hour of `long_day_h`, its shorter day spread over it."""
        return combine.rate_ha_h * combine.hours_per_day / self.long_day_h

    def file(self, relative: str) -> Path:
        """A file the facts name, refused where it would lie outside the farm's folder.

        Raises
        ------
        SettingsError
        """
        return file_inside(self.folder, relative, f"{self.id}/farm.toml", "farm")
