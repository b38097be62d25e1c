"""Seed lost at harvest: what is usual, how it is counted, what to look at first, and what can hurt."""

from __future__ import annotations

import functools
from collections.abc import Collection
from dataclasses import dataclass

from lossmap.base.errors import NoReference, near, shown
from lossmap.base.reference.rows import Row, keys_of, rows_of

__all__ = [
    "Advice",
    "Caution",
    "ReelRange",
    "UsualLoss",
    "advice",
    "cautions",
    "counting",
    "reel_range",
    "usual_loss",
    "usual_share",
]


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


@functools.cache
def usual_loss(crop_name: str) -> tuple[UsualLoss, ...]:
    """What handbooks call attainable, acceptable or usual loss of a crop, all sources together; empty where none says."""
    return tuple(
        UsualLoss(row["called"], float(row["low"]) if row["low"] else None, float(row["high"]), row["unit"], keys_of(row))
        for row in rows_of("usual_loss.csv")
        if row["crop"] == crop_name
    )


def usual_share(source: str) -> float:
    """Share of a source in the loss to be expected where no count tells it; all sources add to 1.

    Raises
    ------
    NoReference
    """
    found = {row["source"]: float(row["share_pct"]) / 100 for row in rows_of("loss_shares.csv")}
    if source not in found:
        raise NoReference(f'"{shown(source)}" is no source of loss; {near(source, found)}')
    return found[source]


def counting(position: str, crop_name: str) -> tuple[str, ...]:
    """How to count a crop at a position, or at all of them (``all``), in the table's order."""
    return tuple(row["text"] for row in rows_of("counting.csv") if row["position"] == position and _covers(row, crop_name))


def _covers(row: Row, crop_name: str) -> bool:
    return row["crops"] == "*" or crop_name in row["crops"].split()


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
    found = [
        Advice(row["source"], int(row["order"]), row["first_if"], row["look_at"], row["but"], row["when"], keys_of(row))
        for row in rows_of("advice.csv")
        if row["source"] == source and _covers(row, crop_name)
    ]
    return tuple(sorted(found, key=lambda row: (row.when != "now", row.first_if not in tracked, row.order)))


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


@functools.cache
def reel_range(crop_name: str) -> ReelRange | None:
    """How much faster than the ground a reel should run in a crop; None where no source says."""
    for row in rows_of("reel.csv"):
        if row["crop"] == crop_name:
            also = float(row["also"]) if row["also"] else None
            keys = (keys_of(row, f"{figure}_source") for figure in ("low", "high", "also"))
            return ReelRange(float(row["low"]), float(row["high"]), also, *keys)
    return None


@dataclass(frozen=True)
class Caution:
    """One sentence that stands where work can hurt someone; `where` is count, adjust or fire."""

    where: str
    text: str
    keys: tuple[str, ...]


@functools.cache
def cautions(where: str) -> tuple[Caution, ...]:
    """What to say about safety where people count, adjust, or fire threatens."""
    return tuple(Caution(row["where"], row["text"], keys_of(row)) for row in rows_of("cautions.csv") if row["where"] == where)
