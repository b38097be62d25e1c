"""From seed counts and a combine's log to maps of harvest loss, with honest doubt.

The data's way, top to bottom; each line is a stage, stages never import one another:

    read/       1  files -> tables in the contracts' names and units
    project     2  to the field's own metric coordinate system
    clean/      3  which points can be believed
    loss/       4  counted seeds -> loss by source at each stop, with its doubt
    surfaces/   5  values at places -> surfaces with doubt on the field's one grid
    join        6  stops to the speed and moisture they were cut at; surfaces to cells
    zones/      7  where loss tracks speed or dryness
    stops/      7' where to count next
    drydown/    7" fields that wait: moisture to come, cost of waiting, order of harvest
    pool/       8  many fields at once: what they say together of speed, dryness, headers, machines
    report/     9  what people open
    synthetic/     made fields with known truth, beside the way: demos and tests
    synthetic_farm made farms and weather, the same

They meet in ``lossmap.pipelines`` (the command's flows) and stand on ``lossmap.base``
(errors, units, grid, tables, estimates, logloss, settings, field, reference). Stages load
when first touched.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

# public name -> (module, its name there), in the data's order; a verb whose module bears
# the same name gets a longer one here, since `lossmap.clean` is the module once it is loaded
_HOMES = {
    "LossmapError": ("lossmap.base.errors", "LossmapError"),
    "Field": ("lossmap.base.field", "Field"),
    "FieldMap": ("lossmap.base.field", "FieldMap"),
    "Grid": ("lossmap.base.grid", "Grid"),
    "Settings": ("lossmap.base.settings", "Settings"),
    "read_field": ("lossmap.read", "read_field"),
    "read_settings": ("lossmap.read", "read_settings"),
    "read_points": ("lossmap.read", "read_points"),
    "read_counts": ("lossmap.read", "read_counts"),
    "read_boundary": ("lossmap.read", "read_boundary"),
    "utm_crs": ("lossmap.project", "utm_crs"),
    "projected": ("lossmap.project", "project"),
    "cleaned": ("lossmap.clean", "clean"),
    "cut_area": ("lossmap.clean", "cut_area"),
    "seed_mass_g": ("lossmap.loss", "seed_mass_g"),
    "losses": ("lossmap.loss", "losses"),
    "stops_with_drive": ("lossmap.join", "stops_with_drive"),
    "dense": ("lossmap.surfaces", "dense"),
    "by_pass": ("lossmap.surfaces", "by_pass"),
    "loss_surface": ("lossmap.surfaces", "loss_surface"),
    "cells": ("lossmap.join", "cells"),
    "driver": ("lossmap.zones", "driver"),
    "outlined": ("lossmap.zones", "zones"),
    "spread": ("lossmap.stops", "spread"),
    "next_stops": ("lossmap.stops", "next_stops"),
    "RankSettings": ("lossmap.base.rank_settings", "RankSettings"),
    "read_farm": ("lossmap.read", "read_farm"),
    "read_weather": ("lossmap.read", "read_weather"),
    "ranking": ("lossmap.drydown", "rank"),
    "read_evidence": ("lossmap.read", "read_evidence"),
    "pooled": ("lossmap.pool", "pool"),
    "write": ("lossmap.report", "write"),
    "map_field": ("lossmap.pipelines.map_field", "map_field"),
    "rank_fields": ("lossmap.pipelines.rank_fields", "rank_fields"),
    "map_season": ("lossmap.pipelines.season", "map_season"),
    "plan_stops": ("lossmap.pipelines.plan_stops", "plan_stops"),
    "made_map": ("lossmap.pipelines.map_field", "made_map"),
}

__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    """Load a stage when its name is first asked for (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module 'lossmap' has no attribute {name!r}")
    module, there = _HOMES[name]
    return getattr(importlib.import_module(module), there)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
