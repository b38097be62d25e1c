"""Where the files of task data are: in a folder or a zip, under names of any letter case.

Names found inside an archive, or written in its XML, are only ever compared with the list
of what is there. Nothing is unpacked to disk, and no path is built from them.
"""

from __future__ import annotations

import contextlib
import os
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from lossmap.base.errors import ReadError, shown
from lossmap.read.raw import is_file_of
from lossmap.read.zips import BROKEN_ZIP, opened_zip, refuse_count

__all__ = ["TASK_FILE", "Archive", "holds_task_data", "opened"]

TASK_FILE = "taskdata.xml"


@dataclass(frozen=True)
class Archive:
    """The files that lie beside one TASKDATA.XML.

    Attributes
    ----------
    where : str
        The folder or zip as it shall stand in messages.
    """

    where: str
    _stored: Mapping[str, tuple[str, ...]]
    _read: Callable[[str, int], bytes]

    @property
    def names(self) -> tuple[str, ...]:
        """Lower-case names of the files, sorted."""
        return tuple(sorted(self._stored))

    def has(self, *names: str) -> bool:
        """Whether all of these are there, in any letter case."""
        return all(name.lower() in self._stored for name in names)

    def place(self, name: str) -> str:
        """A file as it shall stand in messages: under the name it really has."""
        stored = self._stored.get(name.lower(), (name,))[0]
        return f"{self.where}/{shown(PurePosixPath(stored.replace(chr(92), '/')).name)}"

    def read(self, name: str, most: int) -> bytes:
        """The content of a file, its name in any letter case.

        Raises
        ------
        ReadError
            Not there, there twice, larger than `most` bytes, or damaged.
        """
        stored = self._stored.get(name.lower(), ())
        if not stored:
            raise ReadError(f"{self.where}: holds no {shown(name)}; copy the whole folder from the machine")
        if len(stored) > 1:
            raise ReadError(f"{self.where}: holds {len(stored)} files named {shown(name)} but for the letter case; keep the right one")
        content = self._read(stored[0], most + 1)
        if len(content) > most:
            raise ReadError(f"{self.place(name)}: is larger than {most / 1e6:,.0f} MB, which no such file is; split the task data")
        return content


def holds_task_data(path: Path, where: str) -> bool:
    """Whether a folder or zip holds a TASKDATA.XML; no for everything else, and for a zip that cannot be opened.

    Raises
    ------
    ReadError
        The archive is too large to look into, or the path is TASKDATA.XML itself.
    """
    if path.name.lower() == TASK_FILE and path.is_file():
        raise ReadError(f"{where}: is one of several files of task data; give the folder it lies in as path")
    # a pipe would be waited for
    if not path.is_dir() and not (is_file_of(path, ".zip") and path.is_file() and zipfile.is_zipfile(path)):
        return False
    try:
        with _source(path, where) as (names, _):
            return bool(_task_files(names))
    except BROKEN_ZIP:
        return False


@contextlib.contextmanager
def opened(path: Path, where: str) -> Iterator[Archive]:
    """The task data of a folder or zip.

    Raises
    ------
    ReadError
        No TASKDATA.XML, more than one, or an archive that is damaged or too large.
    """
    try:
        with _source(path, where) as (names, read):
            yield Archive(where, _beside(names, where), read)
    except BROKEN_ZIP as fault:
        raise ReadError(f"{where}: cannot be read as .zip ({shown(fault)}); export it again") from fault


@contextlib.contextmanager
def _source(path: Path, where: str) -> Iterator[tuple[list[str], Callable[[str, int], bytes]]]:
    """Names in an archive, and how to read the first bytes of one."""
    if path.is_dir():
        yield _folder_names(path, where), lambda name, most: _file_bytes(path, where, name, most)
        return
    with opened_zip(path, where) as archive:
        names = [entry.filename for entry in archive.infolist() if not entry.filename.endswith("/")]
        yield names, lambda name, most: _member_bytes(archive, where, name, most)


def _folder_names(path: Path, where: str) -> list[str]:
    names: list[str] = []
    for folder, _, files in os.walk(path):
        names += [(Path(folder) / file).relative_to(path).as_posix() for file in files]
        refuse_count(len(names), where)
    return names


def _file_bytes(folder: Path, where: str, name: str, most: int) -> bytes:
    file = (folder / name).resolve()
    # a link in the folder may lead anywhere
    if not file.is_relative_to(folder.resolve()):
        raise ReadError(f"{where}/{shown(name)}: is a link out of the folder; copy the file itself")
    try:
        with file.open("rb") as opened_file:
            return opened_file.read(most)
    except OSError as fault:
        raise ReadError(f"{where}/{shown(name)}: cannot be read ({fault.strerror}); check its name and rights") from fault


def _member_bytes(archive: zipfile.ZipFile, where: str, name: str, most: int) -> bytes:
    try:
        with archive.open(name) as member:
            return member.read(most)
    except Exception as fault:  # zipfile, zlib, bz2 and lzma each raise their own kinds, for passwords too
        raise ReadError(f"{where}/{shown(name)}: cannot be unpacked ({shown(fault)}); export it again") from fault


def _beside(names: list[str], where: str) -> dict[str, tuple[str, ...]]:
    """Lower-case file name to stored names, of the folder in which TASKDATA.XML lies nearest the top."""
    found = _task_files(names)
    if not found:
        raise ReadError(f"{where}: holds no TASKDATA.XML; give the folder or zip that does, as it came from the machine")
    depth = min(len(path.parts) for path in found)
    homes = {path.parent for path in found if len(path.parts) == depth}
    if len(homes) > 1:
        listed = ", ".join(sorted(shown(home) for home in homes)[:5])
        raise ReadError(f"{where}: holds TASKDATA.XML in {len(homes)} folders ({listed}); name one of them as path")
    stored: dict[str, tuple[str, ...]] = {}
    for name in sorted(names):
        path = _path(name)
        if path is not None and path.parent in homes:
            stored[path.name.lower()] = (*stored.get(path.name.lower(), ()), name)
    return stored


def _task_files(names: list[str]) -> list[PurePosixPath]:
    return [path for name in names if (path := _path(name)) is not None and path.name.lower() == TASK_FILE]


def _path(name: str) -> PurePosixPath | None:
    """A stored name as a path; None for one that leads out, and for what systems add for themselves."""
    path = PurePosixPath(name.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or ":" in name or "__MACOSX" in path.parts or path.name.startswith("._"):
        return None
    return path
