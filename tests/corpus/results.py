"""What the search led by coverage found in results of an earlier map, as a season takes them over: each was a crash of the season.

A value of one file is another, and the rest is sound; `says` is what the refusal of that file must say.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

__all__ = ["FOUND", "Spoilt"]


class Spoilt(NamedTuple):
    """One value of a file of results, and what is said about it."""

    file: str
    where: tuple[Any, ...]
    value: Any
    says: str


FOUND: dict[str, Spoilt] = {
    "a loss too small to be squared": Spoilt(
        "evidence.json",
        ("loss", "total"),
        {"mean_kg_ha": 1e-200, "low_kg_ha": 1e-201, "high_kg_ha": 1e-199},
        "loss.total: low 1e-201 is nearer to nothing than any count can tell",
    ),
    "a mean of nothing": Spoilt("evidence.json", ("loss", "total", "mean_kg_ha"), 0.0, "loss.total: mean 0 is far below low"),
    "a mean too small to be squared": Spoilt(
        "evidence.json", ("loss", "header", "mean_kg_ha"), 1e-308, "loss.header: mean 1e-308 is far below low"
    ),
    "a corner that is no number": Spoilt(
        "evidence.json", ("outline", "coordinates", 0, 1, 0), math.nan, "outline: is no outline of a field (not on the globe)"
    ),
    "an outline of nothing": Spoilt("evidence.json", ("outline", "coordinates"), [], "outline: is no outline of a field"),
}
