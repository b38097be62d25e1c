"""Words that stages share: positions, sources of loss, drivers, factors of a season, reasons of a flag."""

from __future__ import annotations

__all__ = ["DRIVE", "DRIVER_WORDS", "FACTORS", "FLAGS", "LAYER_WORDS", "POSITIONS", "SOURCES"]

#: Where a frame is laid, in the order in which the combine passes over.
POSITIONS = ("before_header", "behind_header", "behind_combine")

#: Where seed is lost, in the same order; `total` is their sum.
SOURCES = ("preharvest", "header", "threshing")

#: What loss may track, and the column of LOSSES and CELLS that holds it.
DRIVE = {"speed": "speed_m_s", "dryness": "moisture_pct"}
#: How each is spoken of where loss tracks it, and where it is measured.
DRIVER_WORDS = {"speed": "ground speed", "dryness": "dryness"}
LAYER_WORDS = {"speed": "ground speed", "dryness": "moisture"}

#: Facts of field.toml by which fields of a season are compared, and how each is spoken of.
FACTORS: dict[str, str] = {
    "header": "header",
    "machine": "machine",
    "operator": "operator",
    "variety": "variety",
    "row_spacing": "row spacing",
    "population": "population",
}

#: Reasons of `clean`, in the order in which they are looked for; the first that holds stands.
FLAGS = (
    "bad position",
    "duplicate",
    "section row",
    "position jump",
    "not working",
    "short pass",
    "pass start",
    "pass end",
    "speed change",
    "swath already cut",
    "outside field",
    "beyond crop limits",
    "unlike the field",
    "unlike its neighbours",
    "no yield",
)
