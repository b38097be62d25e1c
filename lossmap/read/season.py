"""The fields below a folder."""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path

from lossmap.read.facts import FACTS, is_file

__all__ = ["field_folders"]

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
