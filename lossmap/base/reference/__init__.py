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
    "ReelRange",
    "UsualLoss",
    "advice",
    "cautions",
    "crop",
    "crops",
    "reel_range",
    "sources",
    "usual_loss",
    "usual_share",
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
        if row["source"] == source and (row["crops"] == "*" or crop_name in row["crops"].split())
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
