"""What settings and facts are made of: quantities typed with their unit, days, models that refuse what they do not know."""

from __future__ import annotations

import contextlib
import datetime
from dataclasses import dataclass
from typing import Annotated, Any

import pydantic
from pydantic_core import CoreSchema, core_schema

from lossmap.base.errors import SettingsError, shown
from lossmap.base.units import quantity

__all__ = [
    "FIRST_DAY",
    "LAST_DAY",
    "Day",
    "Days",
    "Degrees",
    "DollarsPerHour",
    "DollarsPerMetre",
    "Hectares",
    "Hours",
    "Metres",
    "MetresPerSecond",
    "Millimetres",
    "Percent",
    "Seconds",
    "Strict",
    "Typed",
    "setting",
]


class Strict(pydantic.BaseModel):
    """Frozen, unknown keys refused, defaults checked like anything typed."""

    model_config = pydantic.ConfigDict(frozen=True, extra="forbid", validate_default=True)

    @pydantic.field_validator("*", mode="before")
    @classmethod
    def _yes_is_no_number(cls, value: Any, about: pydantic.ValidationInfo) -> Any:
        """True is no 1: four frames taken for one would make four times the loss."""
        if isinstance(value, bool) and cls.model_fields[str(about.field_name)].annotation is int:
            raise ValueError(f"must be a whole number (is {str(value).lower()})")
        return value


def setting(default: object, **more: Any) -> Any:
    """A setting whose default is typed as people type it; it is read like anything else."""
    return pydantic.Field(default, **more)


@dataclass(frozen=True)
class Typed:
    """For `Annotated`: a quantity typed with its unit, kept as a number of `unit`."""

    unit: str

    def __get_pydantic_core_schema__(self, source: Any, handler: pydantic.GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self._read, handler(source))

    def _read(self, value: object) -> object:
        if value is None:
            return None
        try:
            return quantity(value, self.unit)
        except SettingsError as refusal:
            raise ValueError(str(refusal)) from refusal


#: Days of harvests that can be planned or mapped: a year of two digits, or a number taken for seconds, is none of them.
FIRST_DAY, LAST_DAY = datetime.date(1990, 1, 1), datetime.date(2100, 1, 1)


def _day(value: object) -> object:
    """A day as TOML or a quoted text has it; pydantic alone would take a number of seconds for one."""
    if isinstance(value, str):
        with contextlib.suppress(ValueError):
            value = datetime.date.fromisoformat(value)
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime) and not FIRST_DAY <= value <= LAST_DAY:
        raise ValueError(f"{value} is no day of a harvest ({FIRST_DAY.year} to {LAST_DAY.year}); correct it")
    if isinstance(value, (int, float, str)):
        raise ValueError(f"{shown(repr(value))} is not a day; write 2025-10-18")
    return value


Day = Annotated[datetime.date, pydantic.BeforeValidator(_day)]

Metres = Annotated[float, Typed("m")]
Millimetres = Annotated[float, Typed("mm")]
Hectares = Annotated[float, Typed("ha")]
Degrees = Annotated[float, Typed("deg")]
Seconds = Annotated[float, Typed("s")]
Hours = Annotated[float, Typed("h")]
Days = Annotated[float, Typed("d")]
MetresPerSecond = Annotated[float, Typed("m/s")]
Percent = Annotated[float, Typed("percent")]
DollarsPerHour = Annotated[float, Typed("USD/h")]
DollarsPerMetre = Annotated[float, Typed("USD/m")]
