"""Crops: what a seed, an ear and a bushel weigh, and at which moisture grain is sold."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from types import MappingProxyType

from lossmap.base.errors import NoReference, near, shown
from lossmap.base.estimates import Estimate
from lossmap.base.reference.rows import Row, keys_of, rows_of

__all__ = ["Crop", "crop", "crops"]


@dataclass(frozen=True)
class Crop:
    """One row of crops.csv.

    Attributes
    ----------
    name : str
    bushel_lb : float or None
        Legal weight of a bushel [lb]; None for crops sold by weight.
    market_moisture_pct : float
        Moisture at which it is sold [%, wet basis].
    seed_mass_g : Estimate
        Mass of a thousand seeds [g] with the range handbooks give (a 90 % interval for us).
    yield_most_kg_ha : float
        Beyond this a record is no yield.
    ear_grain_g : Estimate or None
        Grain on one ear [g], for crops lost by the ear.
    keys : mapping
        Source keys of each figure.
    """

    name: str
    bushel_lb: float | None
    market_moisture_pct: float
    seed_mass_g: Estimate
    yield_most_kg_ha: float
    ear_grain_g: Estimate | None
    keys: dict[str, tuple[str, ...]]


def crop(name: str) -> Crop:
    """The crop of that name or by-name.

    Raises
    ------
    NoReference
    """
    wanted = name.strip().lower().replace(" ", "_").replace("-", "_")
    try:
        return crops()[_also().get(wanted, wanted)]
    except KeyError:
        raise NoReference(f'"{shown(name)}" is not in the crop table; {near(wanted, crops())}') from None


@functools.cache
def _also() -> dict[str, str]:
    """By-name to crop."""
    return {other: row["crop"] for row in rows_of("crops.csv") for other in row["also"].split()}


@functools.cache
def crops() -> MappingProxyType[str, Crop]:
    """All crops by name, in the table's order."""
    return MappingProxyType({row["crop"]: _crop(row) for row in rows_of("crops.csv")})


def _crop(row: Row) -> Crop:
    ear = _range(row, "ear_grain") if row["ear_grain_g"] else None
    keys = {column.removesuffix("_source"): keys_of(row, column) for column in row if column.endswith("_source")}
    return Crop(
        row["crop"],
        float(row["bushel_lb"]) if row["bushel_lb"] else None,
        float(row["market_moisture_pct"]),
        _range(row, "seed_mass"),
        float(row["yield_most_kg_ha"]),
        ear,
        keys,
    )


def _range(row: Row, what: str) -> Estimate:
    return Estimate(float(row[f"{what}_g"]), float(row[f"{what}_low_g"]), float(row[f"{what}_high_g"]))
