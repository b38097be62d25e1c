"""Shapefiles are several files: that all are there, whole, and not links to somewhere else, before GDAL makes do with what it finds."""

from __future__ import annotations

import glob
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from lossmap.base.errors import ReadError, shown
from lossmap.read.raw import reading
from lossmap.read.zips import BROKEN_ZIP, opened_zip

__all__ = ["SHP", "refuse_parts", "zipped_shapefile"]

#: How a .shp begins.
SHP = rb"\x00\x00\x27\x0a"

_NEEDED = (".shp", ".shx", ".dbf")
_HEAD = 32


@dataclass(frozen=True)
class _Part:
    """A file of a Shapefile: its name, its length, its first bytes."""

    name: str
    size: int
    head: bytes


def refuse_parts(path: Path, where: str) -> None:
    """Refuse a Shapefile whose other files are missing, cut off, or links out of its folder.

    Raises
    ------
    ReadError
    """
    parts = {}
    with reading(where):
        for beside in path.parent.glob(f"{glob.escape(path.stem)}.*"):
            if not beside.resolve().is_relative_to(path.parent.resolve()):
                raise ReadError(f"{where}: {shown(beside.name)} beside it is a link out of the folder; copy the file itself")
            if beside.suffix.lower() in _NEEDED:
                with beside.open("rb") as opened:
                    parts[beside.suffix.lower()] = _Part(beside.name, beside.stat().st_size, opened.read(_HEAD))
    _refuse(parts, where)


def zipped_shapefile(path: Path, where: str) -> str:
    """What GDAL is to open of a zip: the Shapefile in it, or the folder of several.

    Raises
    ------
    ReadError
        Damaged, a bomb, or without a whole Shapefile.
    """
    try:
        with opened_zip(path, where) as archive:
            members = {entry.filename: entry for entry in archive.infolist() if "__MACOSX" not in entry.filename}
            names = [name for name in members if name.lower().endswith(".shp")]
            if not names:
                raise ReadError(f"{where}: holds no Shapefile and no TASKDATA.XML; unpack it, or export it again")
            for name in names:
                parts = {}
                for other, entry in members.items():
                    if other[:-4] == name[:-4] and other[-4:].lower() in _NEEDED:
                        with archive.open(other) as member:
                            parts[other[-4:].lower()] = _Part(other, entry.file_size, member.read(_HEAD))
                _refuse(parts, where)
    except (*BROKEN_ZIP, RuntimeError) as fault:  # the last for passwords
        raise ReadError(f"{where}: cannot be read as .zip ({shown(fault, 160)}); export it again") from fault
    return f"/vsizip/{{{path}}}/" + (names[0] if len(names) == 1 else names[0].rpartition("/")[0])


def _refuse(parts: Mapping[str, _Part], where: str) -> None:
    missing = [ending for ending in _NEEDED if ending not in parts]
    if missing:
        raise ReadError(f"{where}: lacks its {' and '.join(missing)}; copy all files of the Shapefile (.shp, .shx, .dbf, .prj)")
    if not parts[".shp"].head.startswith(b"\x00\x00\x27\x0a"):
        raise ReadError(f"{where}: {shown(parts['.shp'].name)} is no Shapefile (it does not begin as one does); export it again")
    for part in parts.values():
        whole = _stated(part)
        if part.size < whole:
            raise ReadError(f"{where}: {shown(part.name)} is cut off ({part.size:,} of {whole:,} bytes); copy it again")


def _stated(part: _Part) -> int:
    """The length that the file itself states [ESRI Shapefile Technical Description, 1998; dBASE III]."""
    if len(part.head) < _HEAD:
        return _HEAD
    if part.name.lower().endswith(".dbf"):
        rows, head, row = (int.from_bytes(part.head[start:end], "little") for start, end in ((4, 8), (8, 10), (10, 12)))
        return head + rows * row
    return 2 * int.from_bytes(part.head[24:28], "big")
