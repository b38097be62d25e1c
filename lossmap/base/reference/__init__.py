"""Figures of the trade as rows of tables, each with the key of its source.

Nothing agronomic stands as a literal in a stage: it is read here, and every row names
where it was read (``sources.toml``).
"""

from __future__ import annotations

import csv
import functools
import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from importlib import resources
from types import MappingProxyType

from lossmap.base.errors import NoReference, near, shown
from lossmap.base.estimates import Estimate

__all__ = [
    "Advice",
    "Caution",
    "Crop",
    "Equilibrium",
    "Figure",
    "ReelRange",
    "UsualLoss",
    "advice",
    "cautions",
    "counting",
    "crop",
    "crops",
    "equilibria",
    "reel_range",
    "sources",
    "standability",
    "usual_loss",
    "usual_share",
    "waiting",
]


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


@dataclass(frozen=True)
class Advice:
    """One thing to look at for one source of loss.

    Attributes
    ----------
    source : "preharvest", "header" or "threshing"
    order : int
        Among the rows of its source and crop.
    first_if : "speed", "dryness" or ""
        The driver that lifts the row above all others where loss tracks it.
    look_at : str
        A quantity stands in it as its source has it and in metric units, ``{6 to 12 in|15 to 30 cm}``;
        whoever shows the text takes one of the two.
    but : str
        What speaks against it, likewise; "" where nothing is known to.
    when : "now" or "next season"
    keys : tuple of str
    """

    source: str
    order: int
    first_if: str
    look_at: str
    but: str
    when: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class ReelRange:
    """Speed of a reel's tips over ground speed that sources give for a crop; keys of each figure.

    `also` is what a single source gives beside that range; None where there is none.
    """

    low: float
    high: float
    also: float | None
    low_keys: tuple[str, ...]
    high_keys: tuple[str, ...]
    also_keys: tuple[str, ...]


@dataclass(frozen=True)
class UsualLoss:
    """What handbooks call a crop's loss.

    Attributes
    ----------
    called : "attainable", "acceptable", "usual" or "common"
    low, high : float
        In `unit`; `low` is None where they say "at most", and as `high` where they say one figure.
    unit : "percent" (of the yield) or "bu/ac"
    keys : tuple of str
    """

    called: str
    low: float | None
    high: float
    unit: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class Caution:
    """One sentence that stands where work can hurt someone; `where` is count, adjust or fire."""

    where: str
    text: str
    keys: tuple[str, ...]


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


@dataclass(frozen=True)
class Figure:
    """One number of a model of waiting, with the range sources leave, its unit and what it means."""

    name: str
    range: Estimate
    unit: str
    means: str
    keys: tuple[str, ...]


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
def crops() -> MappingProxyType[str, Crop]:
    """All crops by name, in the table's order."""
    return MappingProxyType({row["crop"]: _crop(row) for row in _rows("crops.csv")})


@functools.cache
def sources() -> MappingProxyType[str, str]:
    """What each source key stands for."""
    return MappingProxyType(tomllib.loads(_text("sources.toml")))


def advice(source: str, crop_name: str, tracked: Collection[str] = ()) -> tuple[Advice, ...]:
    """What to look at first when seed is lost at `source`, in order.

    Parameters
    ----------
    source : "preharvest", "header" or "threshing"
    crop_name : str
        A row of crops.csv; only rows whose sources cover that crop are given.
    tracked : collection of str
        Drivers that loss tracks in this field; what answers them comes first.
    """
    rows = [
        Advice(row["source"], int(row["order"]), row["first_if"], row["look_at"], row["but"], row["when"], tuple(row["key"].split()))
        for row in _rows("advice.csv")
        if row["source"] == source and _covers(row, crop_name)
    ]
    return tuple(sorted(rows, key=lambda row: (row.when != "now", row.first_if not in tracked, row.order)))


@functools.cache
def reel_range(crop_name: str) -> ReelRange | None:
    """How much faster than the ground a reel should run in a crop; None where no source says."""
    for row in _rows("reel.csv"):
        if row["crop"] == crop_name:
            also = float(row["also"]) if row["also"] else None
            keys = (tuple(row[f"{figure}_source"].split()) for figure in ("low", "high", "also"))
            return ReelRange(float(row["low"]), float(row["high"]), also, *keys)
    return None


@functools.cache
def usual_loss(crop_name: str) -> tuple[UsualLoss, ...]:
    """What handbooks call attainable, acceptable or usual loss of a crop, all sources together; empty where none says."""
    return tuple(
        UsualLoss(row["called"], float(row["low"]) if row["low"] else None, float(row["high"]), row["unit"], tuple(row["key"].split()))
        for row in _rows("usual_loss.csv")
        if row["crop"] == crop_name
    )


@functools.cache
def equilibria(grain: str) -> tuple[Equilibrium, ...]:
    """The forms known for a grain or crop, the one to use first.

    Raises
    ------
    NoReference
    """
    rows = [row for row in _rows("equilibrium.csv") if grain in (row["grain"], row["crop"])]
    if not rows:
        raise NoReference(
            f'"{shown(grain)}" has no equilibrium moisture; {near(grain, {row["grain"] for row in _rows("equilibrium.csv")})}'
        )
    return tuple(_equilibrium(row) for row in rows)


def _equilibrium(row: dict[str, str]) -> Equilibrium:
    a, b, c = (float(row[name]) for name in "abc")
    return Equilibrium(row["grain"], row["crop"], row["form"], a, b, c, tuple(row["key"].split()))


@functools.cache
def waiting(crop_name: str) -> MappingProxyType[str, Figure]:
    """What a crop does while it waits to be cut: drying, loss, cost of drying, by name of the figure.

    Raises
    ------
    NoReference
        No source says how that crop dries and loses in the field.
    """
    rows = [row for row in _rows("waiting.csv") if row["crop"] == crop_name]
    if not rows:
        known = sorted({row["crop"] for row in _rows("waiting.csv")})
        raise NoReference(f"no source says how {shown(crop_name)} dries and what it loses while it waits; known: {', '.join(known)}")
    return MappingProxyType({row["figure"]: _figure(row) for row in rows})


def _figure(row: dict[str, str]) -> Figure:
    value, low, high = (float(row[name]) for name in ("value", "low", "high"))
    return Figure(row["figure"], Estimate(value, low, high), row["unit"], row["means"], tuple(row["key"].split()))


@functools.cache
def standability() -> tuple[tuple[float, float], ...]:
    """Stalks of ten that fail a push, and how many times the usual loss before harvest goes with it."""
    return tuple((float(row["fail_of_ten"]), float(row["times"])) for row in _rows("standability.csv"))


def usual_share(source: str) -> float:
    """Share of a source in the loss to be expected where no count tells it; all sources add to 1.

    Raises
    ------
    NoReference
    """
    found = {row["source"]: float(row["share_pct"]) / 100 for row in _rows("loss_shares.csv")}
    if source not in found:
        raise NoReference(f'"{shown(source)}" is no source of loss; {near(source, found)}')
    return found[source]


@functools.cache
def cautions(where: str) -> tuple[Caution, ...]:
    """What to say about safety where people count, adjust, or fire threatens."""
    return tuple(Caution(row["where"], row["text"], tuple(row["key"].split())) for row in _rows("cautions.csv") if row["where"] == where)


def counting(position: str, crop_name: str) -> tuple[str, ...]:
    """How to count a crop at a position, or at all of them (``all``), in the table's order."""
    return tuple(row["text"] for row in _rows("counting.csv") if row["position"] == position and _covers(row, crop_name))


def _covers(row: dict[str, str], crop_name: str) -> bool:
    return row["crops"] == "*" or crop_name in row["crops"].split()


def _crop(row: dict[str, str]) -> Crop:
    ear = _range(row, "ear_grain") if row["ear_grain_g"] else None
    keys = {column.removesuffix("_source"): tuple(row[column].split()) for column in row if column.endswith("_source")}
    return Crop(
        row["crop"],
        float(row["bushel_lb"]) if row["bushel_lb"] else None,
        float(row["market_moisture_pct"]),
        _range(row, "seed_mass"),
        float(row["yield_most_kg_ha"]),
        ear,
        keys,
    )


def _range(row: dict[str, str], what: str) -> Estimate:
    return Estimate(float(row[f"{what}_g"]), float(row[f"{what}_low_g"]), float(row[f"{what}_high_g"]))


@functools.cache
def _also() -> dict[str, str]:
    return {other: row["crop"] for row in _rows("crops.csv") for other in row["also"].split()}


@functools.cache
def _rows(name: str) -> tuple[dict[str, str], ...]:
    return tuple(csv.DictReader(_text(name).splitlines()))


def _text(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")
