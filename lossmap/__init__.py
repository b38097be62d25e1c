"""From seed counts and a combine's log to maps of harvest loss, with honest doubt.

The data's way, top to bottom; each line is a stage, stages never import one another:

    read/       1  files -> tables in the contracts' names and units
    project     2  to the field's own metric coordinate system
    clean/      3  which points can be believed
    loss/       4  counted seeds -> loss by source at each stop, with its doubt
    surfaces/   5  values at places -> surfaces with doubt on the field's one grid
    join        6  stops to the speed and moisture they were cut at; surfaces to cells
    zones/      7  where loss tracks speed or dryness
    report/     8  what people open
    synthetic      made fields with known truth, beside the way: demos and tests

They meet in ``lossmap.pipelines`` (the command's flows) and stand on ``lossmap.base``
(errors, units, grid, tables, estimates, settings, field, reference). Stages load when
first touched.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

# public name -> module that holds it, in the data's order
_HOMES = {
    "LossmapError": "lossmap.base.errors",
    "Field": "lossmap.base.field",
    "FieldMap": "lossmap.base.field",
    "Settings": "lossmap.base.settings",
    "read_field": "lossmap.read",
    "read_settings": "lossmap.read",
    "read_points": "lossmap.read",
    "read_counts": "lossmap.read",
    "read_boundary": "lossmap.read",
    "utm_crs": "lossmap.project",
    "project": "lossmap.project",
    "clean": "lossmap.clean",
    "losses": "lossmap.loss",
    "dense": "lossmap.surfaces",
    "loss_surface": "lossmap.surfaces",
    "cells": "lossmap.join",
    "stops_with_drive": "lossmap.join",
    "driver": "lossmap.zones",
    "outline": "lossmap.zones",
    "write": "lossmap.report",
}

__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    """Load a stage when its name is first asked for (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module 'lossmap' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
