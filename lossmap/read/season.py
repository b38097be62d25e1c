"""The fields below a folder, and what each one's results say in one row of a season."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import shapely

from lossmap.base.errors import ReadError, shown
from lossmap.base.tables import DRIVE, FACTORS, SOURCES
from lossmap.read.evidence import read_evidence
from lossmap.read.facts import FACTS, is_file

__all__ = ["field_folders", "read_season_row"]

#: Files by which a folder of results is known.
_RESULTS = ("run.toml", "summary.json")


def field_folders(folder: Path, leave: Collection[Path] = ()) -> dict[str, Path]:
    """Every folder with ``field.toml`` below `folder`, by its path from there, in that order.

    A folder that nobody may look into is one: its row says so, or a field would be missing in silence.
    Links are followed, each place once. Hidden folders and folders of results are left
    alone; what lies in a field's own folder is searched, for a field there would be missed.

    Parameters
    ----------
    folder : Path
    leave : collection of Path
        Folders not to look into.

    Raises
    ------
    SettingsError
        `folder` itself cannot be looked into.
    """
    is_file(folder / FACTS)  # refuses a folder that nobody may look into
    seen = {_place(path) for path in leave if path.is_dir()}
    found: dict[str, Path] = {}
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        place = _place(here)
        if place in seen:
            continue
        seen.add(place)
        if _is_field(here):
            found[here.relative_to(folder).as_posix()] = here
        elif all((here / name).is_file() for name in _RESULTS):
            continue
        waiting += sorted(_folders_in(here), reverse=True)
    return dict(sorted(found.items()))


def _place(folder: Path) -> tuple[int, int] | Path:
    """Which folder it is, however it is reached; its path where the system does not let us see."""
    try:
        found = folder.stat()
    except PermissionError:
        return folder
    return found.st_dev, found.st_ino


def _is_field(folder: Path) -> bool:
    try:
        return (folder / FACTS).is_file()
    except PermissionError:
        return True


def _folders_in(folder: Path) -> list[Path]:
    """None where nobody may look: what cannot be read holds no field of ours."""
    try:
        with os.scandir(folder) as entries:
            return [Path(entry.path) for entry in entries if not entry.name.startswith(".") and entry.is_dir()]
    except OSError:
        return []


def read_season_row(folder: Path) -> dict[str, Any]:
    """What the results of one mapped field say: SEASON's columns but for those of the run itself, and ``geometry`` on WGS84.

    Raises
    ------
    ReadError
        summary.json or evidence.json is missing or broken.
    """
    summary, evidence = _content(folder, "summary.json"), read_evidence(folder)
    outline: dict[str, Any] = _content(folder, "evidence.json").get("outline", {})
    try:
        return {
            "name": str(summary["field"]),
            "crop": str(summary["crop"]),
            "area_ha": _number(summary["area_ha"]),
            "points": float(summary["points"]["read"]),
            "points_kept": float(summary["points"]["kept"]),
            "stops": float(summary["stops"]),
            "zones": float(summary["zones"]),
            **{f"{source}_{end}": value for source in ("total", *SOURCES) for end, value in _loss(summary["loss"][source]).items()},
            "total_pct": _number(summary["loss"]["total"]["pct_of_total_yield"]),
            "yield_kg_ha": _number(summary["yield_kg_ha"]),
            "speed_m_s": _number(summary["speed_m_s"]),
            "moisture_pct": _number(summary["moisture_pct"]),
            "loss_usd": _number(summary["money"]["loss_usd"]["mean"]) if "money" in summary else math.nan,
            **{f"{driver}_verdict": str(summary["drivers"][driver]["verdict"]) for driver in DRIVE},
            **{f"{driver}_rests_on": "own counts" for driver in DRIVE},
            **{factor: evidence.factors.get(factor, "") for factor in FACTORS},
            "geometry": shapely.geometry.shape(outline),
        }
    except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError) as fault:
        raise ReadError(f"{folder.name}: its results are not whole ({shown(fault, 80)}); map the field again") from fault


def _content(folder: Path, name: str) -> dict[str, Any]:
    try:
        content: dict[str, Any] = json.loads((folder / name).read_text(encoding="utf-8"))
        content.keys()
    except OSError as fault:
        raise ReadError(f"{folder.name}/{name}: cannot be read ({fault.strerror or fault}); map the field again") from fault
    except (ValueError, AttributeError, RecursionError) as fault:
        raise ReadError(f"{folder.name}/{name}: is not what a map leaves ({shown(fault, 80)}); map the field again") from fault
    return content


def _loss(of_source: Mapping[str, Any]) -> dict[str, float]:
    """Mean and ends under the names of SEASON."""
    return {f"{end}kg_ha": _number(of_source[f"{there}_kg_ha"]) for end, there in (("", "mean"), ("low_", "low"), ("high_", "high"))}


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)
