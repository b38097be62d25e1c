"""Points as GeoPackage: layers, and databases that are none."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

from .cases import DONE, WRONG_DATA, Case
from .vectors import frame, maker, sound

_case = maker("points, GeoPackage", "points.gpkg")


def cases() -> Iterator[Case]:
    """Layers named and not named, bytes blotted out."""
    yield _case("two layers", WRONG_DATA, "name one with layer = ...", _two_layers)
    yield _case("two layers, one named", DONE, "60 records", _two_layers, keys='layer = "log"')
    yield _case("a layer that is not there", WRONG_DATA, "did you mean log?", _two_layers, keys='layer = "logg"')
    yield _case("a layer called as a command", WRONG_DATA, "has no layer", _two_layers, keys='layer = "log\'; drop table log; --"')
    yield _case("bytes blotted out", WRONG_DATA, "cannot be read as", _blotted)
    yield _case("a database without layers", WRONG_DATA, "cannot be read as .gpkg", _database)


def _two_layers() -> bytes:
    """The sound log twice, under two names."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "two.gpkg"
        frame().to_file(file, layer="log")
        frame().to_file(file, layer="extra")
        return file.read_bytes()


def _blotted() -> bytes:
    """The sound file with every seventh byte of its middle overwritten."""
    content = bytearray(sound(".gpkg"))
    content[3_000:60_000:7] = b"\xff" * len(content[3_000:60_000:7])
    return bytes(content)


def _database() -> bytes:
    """A database that is no GeoPackage and would load a library."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "x.db"
        with sqlite3.connect(file) as made:
            made.execute("create table t (a)")
            made.execute("create trigger r after insert on t begin select load_extension('/tmp/x'); end")
        made.close()
        return file.read_bytes()
