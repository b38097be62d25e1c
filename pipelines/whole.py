"""Whole results or none: written aside, then renamed.

`map` makes a whole folder, `stops` a few files that lie in the same one. Neither takes
what is the other's: a folder that takes the place of an earlier one takes along what it
does not bring itself, and files take the place of files of their own names only.

What a run holds aside until its results are in place::

    .creek.PID-HOST.random/
        new/     what is to come
        old      the earlier folder, on its way out
        names    of files that are about to come, a line each
        earlier/ the earlier files of those names, on their way out

Whoever finds that of a run which is no more puts back what it had taken. A folder of files
changes as one: it is what it was, what it shall be, or for a moment not there. One that has
folders in it, as a season's, is not copied for the sake of a few files: the earlier ones all
go before the first new one comes, so that files of two runs never lie side by side. Runs that
put results beside one another take turns.
"""

from __future__ import annotations

import errno
import os
import platform
import re
import shutil
import tempfile
import time
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lossmap.base.errors import SettingsError, WriteError, shown

from .turns import in_turn

__all__ = ["apart", "sweep", "whole_files", "whole_folder", "writable"]

#: Machines that share a disk do not know each other's processes.
_HOST = f"{zlib.crc32(platform.node().encode()):08x}"
#: A folder aside, by whose it is: target, process, machine.
_ASIDE = re.compile(r"\.(?P<target>.+)\.(?P<pid>\d+)-(?P<host>[0-9a-f]{8})\.[^.]+", re.DOTALL)
#: No run of another machine takes longer [s].
_LONGEST_RUN_S = 8 * 86_400


@contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """A folder to write into that takes `target`'s place when the block ends well.

    If the block fails or is interrupted, `target` stays as it was. Files in `target` that
    the new result does not have are somebody's own: they move along.

    Raises
    ------
    WriteError
        The place cannot be written to.
    """
    with _aside(target) as aside:
        yield aside / "new"
        with in_turn(target.parent), _refusals(target, "be replaced"):
            _take_place(target, aside)


@contextmanager
def whole_files(target: Path) -> Iterator[Path]:
    """A folder to write into whose files go to `target`, each whole, when the block ends well.

    Whatever else lies in `target` stays. If the block fails or is interrupted, or one of the
    files cannot take its place, all stay as they were.

    Raises
    ------
    WriteError
        The place cannot be written to.
    """
    with _aside(target) as aside:
        yield aside / "new"
        with in_turn(target.parent), _refusals(target, "be written to"):
            _take_places(target, aside) if _holds_folders(target) else _take_place(target, aside)


def apart(own: Path, target: Path) -> None:
    """Refuse results that would come to lie among the field's own files: a log lost is a harvest lost.

    Raises
    ------
    SettingsError
    """
    place, own = target.resolve(), own.resolve()
    if place == own or own.is_relative_to(place):
        raise SettingsError(f"{shown(target, 200)}: is the field's own folder, and results would replace what is in it; give another --out")


def writable(target: Path) -> None:
    """Refuse a place that cannot be written to before the work is done that it is for.

    Raises
    ------
    WriteError
    """
    with _aside(target):
        pass


@contextmanager
def _aside(target: Path) -> Iterator[Path]:
    """A folder beside `target` with an empty `new` in it, gone at the end whatever happens."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists() and not target.is_dir():
            raise WriteError(f"{shown(target, 200)}: is a file, and the results need a folder of that name; give another --out")
        sweep(target.parent, target.name)
        aside = Path(tempfile.mkdtemp(prefix=f".{target.name}.{os.getpid()}-{_HOST}.", dir=target.parent))
        (aside / "new").mkdir(mode=0o755)
    except OSError as fault:
        if isinstance(fault, WriteError):
            raise
        raise WriteError(f"{shown(target.parent, 200)}: cannot be written to ({fault.strerror}); give another --out") from fault
    try:
        yield aside
    except WriteError as fault:
        # the file by the name that it would have had
        raise WriteError(str(fault).replace(str(aside / "new"), str(target))) from fault
    finally:
        with suppress(OSError), in_turn(target.parent):
            _put_back(target, aside)
            shutil.rmtree(aside)


def sweep(folder: Path, name: str | None = None) -> None:
    """Clear what runs that were killed left in `folder`; an earlier result caught half-way goes back to its place.

    Parameters
    ----------
    folder : Path
        Where results lie; nothing happens where it is not there.
    name : str, optional
        The one result to look after; all of them without it.
    """
    if not folder.is_dir():
        return
    with in_turn(folder):
        for aside in list(folder.iterdir()):
            whose = _ASIDE.fullmatch(aside.name)
            if whose is None or name not in (None, whose["target"]) or _is_at_work(aside, int(whose["pid"]), whose["host"]):
                continue
            _put_back(folder / whose["target"], aside)
            shutil.rmtree(aside, ignore_errors=True)


@contextmanager
def _refusals(target: Path, what: str) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        raise WriteError(
            f"{shown(target, 200)}: cannot {what} ({fault.strerror}); close programs that use it, or give another --out"
        ) from fault


def _is_at_work(aside: Path, pid: int, host: str) -> bool:
    if host == _HOST:
        return _runs(pid)
    with suppress(OSError):
        return time.time() - aside.stat().st_mtime < _LONGEST_RUN_S
    return True


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _take_place(target: Path, aside: Path) -> None:
    written = aside / "new"
    _on_disk(written)
    if target.exists():
        for theirs in target.iterdir():
            if not os.path.lexists(written / theirs.name):
                _taken_along(theirs, written / theirs.name)
            elif theirs.is_dir() and not theirs.is_symlink():
                raise IsADirectoryError(errno.EISDIR, f"{theirs.name} is a folder")
        target.rename(aside / "old")
    written.rename(target)


def _holds_folders(target: Path) -> bool:
    return target.is_dir() and any(theirs.is_dir() and not theirs.is_symlink() for theirs in target.iterdir())


def _on_disk(folder: Path) -> None:
    """Wait until the disk holds the files: after a power cut a name must not lead to an empty one."""
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb+") as opened:
                os.fsync(opened.fileno())


def _taken_along(source: Path, place: Path) -> None:
    """Somebody's own file or folder under a second name; a copy where the disk knows no such thing."""
    if source.is_dir() and not source.is_symlink():
        shutil.copytree(source, place, symlinks=True)
        return
    try:
        os.link(source, place, follow_symlinks=False)
    except OSError:
        shutil.copy2(source, place, follow_symlinks=False)


def _take_places(target: Path, aside: Path) -> None:
    """Move the files of `target` that are to be replaced out, and then every file of `new` in."""
    written, earlier = aside / "new", aside / "earlier"
    names = sorted(path.name for path in written.iterdir())
    for name in names:
        if (target / name).is_dir() and not (target / name).is_symlink():
            raise IsADirectoryError(errno.EISDIR, f"{name} is a folder")
    _on_disk(written)
    target.mkdir(exist_ok=True)
    earlier.mkdir()
    (aside / "names").write_text("\n".join(names), encoding="utf-8")
    for name in names:
        if os.path.lexists(target / name):
            (target / name).rename(earlier / name)
    for name in names:
        (written / name).rename(target / name)


def _put_back(target: Path, aside: Path) -> None:
    """The earlier results of a run that did not come to its end; nothing where it did."""
    if (aside / "old").is_dir() and not target.exists():
        (aside / "old").rename(target)
    if not (aside / "names").is_file() or not any((aside / "new").iterdir()):
        return
    target.mkdir(exist_ok=True)  # somebody may have cleared it away meanwhile
    for name in (aside / "names").read_text(encoding="utf-8").split("\n"):
        # first aside again: whoever is killed here leaves what the next one can go on with
        if not os.path.lexists(aside / "new" / name) and os.path.lexists(target / name):
            (target / name).rename(aside / "new" / name)
        if os.path.lexists(aside / "earlier" / name):
            (aside / "earlier" / name).rename(target / name)
    if not any(target.iterdir()):
        target.rmdir()
