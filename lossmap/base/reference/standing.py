"""Grain that waits to be cut: where it comes to rest with the air, how it dries, what it loses and costs."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from types import MappingProxyType

from lossmap.base.errors import NoReference, near, shown
from lossmap.base.estimates import Estimate
from lossmap.base.reference.rows import Row, keys_of, rows_of

__all__ = ["Equilibrium", "Figure", "equilibria", "standability", "waiting"]


@dataclass(frozen=True)
class Equilibrium:
    """How moist a grain is that has come to rest with the air.

    Attributes
    ----------
    grain : str
        The crop, or its kind where kinds differ ("wheat_soft").
    crop : str
        The row of crops.csv it stands for; "" where none.
    form : "henderson", "chung_pfost", "halsey" or "oswin"
        Modified forms of ASABE D245; moisture in percent dry basis, temperature in C.
    a, b, c : float
        Their constants in the order of the standard.
    """

    grain: str
    crop: str
    form: str
    a: float
    b: float
    c: float
    keys: tuple[str, ...]


@functools.cache
def equilibria(grain: str) -> tuple[Equilibrium, ...]:
    """The forms known for a grain or crop, the one to use first.

    Raises
    ------
    NoReference
    """
    rows = [row for row in rows_of("equilibrium.csv") if grain in (row["grain"], row["crop"])]
    if not rows:
        raise NoReference(
            f'"{shown(grain)}" has no equilibrium moisture; {near(grain, {row["grain"] for row in rows_of("equilibrium.csv")})}'
        )
    return tuple(_equilibrium(row) for row in rows)


def _equilibrium(row: Row) -> Equilibrium:
    a, b, c = (float(row[name]) for name in "abc")
    return Equilibrium(row["grain"], row["crop"], row["form"], a, b, c, keys_of(row))


@dataclass(frozen=True)
class Figure:
    """One number of a model of waiting, with the range sources leave, its unit and what it means."""

    name: str
    range: Estimate
    unit: str
    means: str
    keys: tuple[str, ...]


@functools.cache
def waiting(crop_name: str) -> MappingProxyType[str, Figure]:
    """What a crop does while it waits to be cut: drying, loss, cost of drying, by name of the figure.

    Raises
    ------
    NoReference
        No source says how that crop dries and loses in the field.
    """
    rows = [row for row in rows_of("waiting.csv") if row["crop"] == crop_name]
    if not rows:
        known = sorted({row["crop"] for row in rows_of("waiting.csv")})
        raise NoReference(f"no source says how {shown(crop_name)} dries and what it loses while it waits; known: {', '.join(known)}")
    return MappingProxyType({row["figure"]: _figure(row) for row in rows})


def _figure(row: Row) -> Figure:
    value, low, high = (float(row[name]) for name in ("value", "low", "high"))
    return Figure(row["figure"], Estimate(value, low, high), row["unit"], row["means"], keys_of(row))


@functools.cache
def standability() -> tuple[tuple[float, float], ...]:
    """Stalks of ten that fail a push, and how many times the usual loss before harvest goes with it."""
    return tuple((float(row["fail_of_ten"]), float(row["times"])) for row in rows_of("standability.csv"))
