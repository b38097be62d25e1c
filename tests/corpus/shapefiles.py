"""Points as a Shapefile: zipped, and loose files beside one another."""

from __future__ import annotations

import functools
import io
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

from .cases import DONE, WRONG_DATA, Case, field, zipped
from .vectors import maker, sound

KIND = "points, Shapefile"
_zipped = maker(f"{KIND}, zipped", "points.shp.zip")


def cases() -> Iterator[Case]:
    """Files that are missing, cut off or others' under their names; zips that lead out, unpack without end or are locked."""
    yield from _in_a_zip()
    yield from _beside_one_another()


def _in_a_zip() -> Iterator[Case]:
    """What a zip may hold, and how."""

    def case(name: str, ends: int, says: str, content: Callable[[], dict[str, bytes]]) -> Case:
        return _zipped(name, ends, says, lambda: zipped(content()))

    yield case("without its table", WRONG_DATA, "lacks its .dbf; copy all files", lambda: _members(dbf=None))
    yield case("without its index", WRONG_DATA, "lacks its .shx; copy all files", lambda: _members(shx=None))
    yield case("without its system", WRONG_DATA, "does not say its coordinate system", lambda: _members(prj=None))
    yield case("a system of nonsense", WRONG_DATA, "cannot be read as .zip", lambda: _members(prj=b'GEOGCS["nonsense"'))
    yield case("a table cut off", WRONG_DATA, "points.dbf is cut off (100 of", lambda: _members(dbf=_members()["points.dbf"][:100]))
    yield case(
        "a table cut off by rows", WRONG_DATA, "points.dbf is cut off (1,500 of", lambda: _members(dbf=_members()["points.dbf"][:1500])
    )
    yield case("places cut off", WRONG_DATA, "points.shp is cut off (400 of", lambda: _members(shp=_members()["points.shp"][:400]))
    yield case("no Shapefile in it", WRONG_DATA, "holds no Shapefile and no TASKDATA.XML", lambda: {"read me.txt": b"x"})
    yield case("nothing in it", WRONG_DATA, "holds no Shapefile and no TASKDATA.XML", dict)
    yield case(
        "a file that names other files", WRONG_DATA, "holds no Shapefile", lambda: {"points.vrt": b"<OGRVRTDataSource></OGRVRTDataSource>"}
    )
    yield case(
        "a text called .shp",
        WRONG_DATA,
        "points.shp is no Shapefile",
        lambda: {**_members(), "points.shp": b"<OGRVRTDataSource></OGRVRTDataSource>" * 9},
    )
    yield case("in a folder inside", DONE, "60 records", lambda: {f"export/{name}": content for name, content in _members().items()})
    yield case(
        "names that lead out",
        WRONG_DATA,
        "cannot be read as .zip",
        lambda: {f"../../{name}": content for name, content in _members().items()},
    )
    yield case(
        "two in one zip",
        WRONG_DATA,
        "has 2 layers",
        lambda: {**_members(), **{name.replace("points", "more"): content for name, content in _members().items()}},
    )
    yield case("a bomb", WRONG_DATA, "times its size, which no log does", lambda: {**_members(), "points.sbn": bytes(30_000_000)})
    yield case("a zip in the zip", WRONG_DATA, "holds no Shapefile", lambda: {"points.zip": sound(".shp.zip")})
    yield case(
        "names of another alphabet",
        DONE,
        "60 records",
        lambda: {f"\u043f\u043e\u043b\u0435.{name.rpartition('.')[2]}": content for name, content in _members().items()},
    )
    yield _zipped("a password", WRONG_DATA, "is encrypted", lambda: _locked(zipped(_members())))


def _beside_one_another() -> Iterator[Case]:
    """What may lie beside a .shp."""
    yield Case(KIND, "sound", _loose, DONE, "60 records")
    yield Case(
        KIND,
        "a table that is a link out of the folder",
        _linked,
        WRONG_DATA,
        "points.dbf beside it is a link out of the folder",
    )
    yield Case(KIND, "without its index", lambda folder: _loose(folder, shx=None), WRONG_DATA, "lacks its .shx")
    yield Case(KIND, "without its table", lambda folder: _loose(folder, dbf=None), WRONG_DATA, "lacks its .dbf")
    yield Case(
        KIND,
        "cut off",
        lambda folder: _loose(folder, shp=_members()["points.shp"][:300]),
        WRONG_DATA,
        "points.shp is cut off (300 of",
    )


def _loose(folder: Path, **changed: bytes | None) -> None:
    """A field whose log is the files beside one another."""
    field(folder, path="points.shp", log=None, files=_members(**changed))  # type: ignore[arg-type]


def _linked(folder: Path) -> None:
    """The same, its table a link to one outside."""
    _loose(folder, dbf=None)
    (folder / "secret.dbf").write_bytes(_members()["points.dbf"])
    (folder / "creek" / "points.dbf").symlink_to(folder / "secret.dbf")


def _members(**changed: bytes | None) -> dict[str, bytes]:
    """The files of the sound Shapefile, by their endings some replaced or left out."""
    kept = {name.rpartition(".")[2]: content for name, content in _sound().items()}
    return {f"points.{end}": content for end, content in {**kept, **changed}.items() if content is not None}


@functools.cache
def _sound() -> dict[str, bytes]:
    """The members of the sound Shapefile."""
    with zipfile.ZipFile(io.BytesIO(sound(".shp.zip"))) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _locked(content: bytes) -> bytes:
    """A zip whose members say that they are encrypted."""
    out = bytearray(content)
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = out.find(mark)
        while place >= 0:
            out[place + at] |= 1
            place = out.find(mark, place + 4)
    return bytes(out)
