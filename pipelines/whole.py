"""Whole results or none: written aside, then renamed.

`map` makes a whole folder, `stops` a few files that lie in the same one. Neither takes
what is the other's: a folder that takes the place of an earlier one takes along what it
does not bring itself, and files take the place of files of their own names only.
"""

from __future__ import annotations

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

from lossmap.base.errors import SettingsError, WriteError

__all__ = ["apart", "sweep", "whole_files", "whole_folder", "writable"]

#: Machines that share a disk do not know each other's processes.
_HOST = f"{zlib.crc32(platform.node().encode()):08x}"
#: A folder aside, by whose it is: target, process, machine.
_ASIDE = re.compile(r"\.(?P<target>.+)\.(?P<pid>\d+)-(?P<host>[0-9a-f]{8})\.[^.]+", re.DOTALL)
#: No run of another machine takes longer [s].
_WEEK_S = 8 * 86_400


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
        _take_place(target, aside / "new", aside / "old")


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
        _take_places(target, aside / "new", aside / "replaced")


def apart(own: Path, target: Path) -> None:
    """Refuse results that would come to lie among the field's own files: a log lost is a harvest lost.

    Raises
    ------
    SettingsError
    """
    place, own = target.resolve(), own.resolve()
    if place == own or own.is_relative_to(place):
        raise SettingsError(f"{target}: is the field's own folder, and results would replace what is in it; give another --out")


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
            raise WriteError(f"{target}: is a file, and the results need a folder of that name; give another --out")
        sweep(target.parent, target.name)
        aside = Path(tempfile.mkdtemp(prefix=f".{target.name}.{os.getpid()}-{_HOST}.", dir=target.parent))
        (aside / "new").mkdir(mode=0o755)
    except OSError as fault:
        if isinstance(fault, WriteError):
            raise
        raise WriteError(f"{target.parent}: cannot be written to ({fault.strerror}); give another --out") from fault
    try:
        yield aside
    except WriteError as fault:
        # the file by the name that it would have had
        raise WriteError(str(fault).replace(str(aside / "new"), str(target))) from fault
    finally:
        with suppress(OSError):
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
    for aside in list(folder.iterdir()):
        whose = _ASIDE.fullmatch(aside.name)
        if whose is None or name not in (None, whose["target"]) or _is_at_work(aside, int(whose["pid"]), whose["host"]):
            continue
        target = folder / whose["target"]
        if (aside / "old").is_dir() and not target.exists():
            (aside / "old").rename(target)
        shutil.rmtree(aside, ignore_errors=True)


def _is_at_work(aside: Path, pid: int, host: str) -> bool:
    if host == _HOST:
        return _runs(pid)
    with suppress(OSError):
        return time.time() - aside.stat().st_mtime < _WEEK_S
    return True


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _take_place(target: Path, written: Path, old: Path) -> None:
    try:
        if target.exists():
            for theirs in target.iterdir():
                if not (written / theirs.name).exists():
                    _copied(theirs, written / theirs.name)
        _on_disk(written)
        if target.exists():
            target.rename(old)
        try:
            written.rename(target)
        except BaseException:
            # the new one could not take the place: the earlier result goes back
            if old.exists():
                old.rename(target)
            raise
    except OSError as fault:
        raise WriteError(f"{target}: cannot be replaced ({fault.strerror}); close programs that use it, or give another --out") from fault


def _on_disk(folder: Path) -> None:
    """Wait until the disk holds the files: after a power cut a name must not lead to an empty one."""
    for path in folder.rglob("*"):
        if path.is_file() and not path.is_symlink():
            with path.open("rb+") as opened:
                os.fsync(opened.fileno())


def _copied(source: Path, copy: Path) -> None:
    if source.is_dir() and not source.is_symlink():
        shutil.copytree(source, copy, symlinks=True)
    else:
        shutil.copy2(source, copy, follow_symlinks=False)


def _take_places(target: Path, written: Path, replaced: Path) -> None:
    """Move every file of `written` into `target`; where one cannot go, those before it come back out."""
    is_new = not target.exists()
    moved: list[str] = []
    try:
        _on_disk(written)
        target.mkdir(exist_ok=True)
        replaced.mkdir()
        try:
            for path in sorted(written.iterdir()):
                place = target / path.name
                if place.is_file() or place.is_symlink():
                    _copied(place, replaced / path.name)
                moved.append(path.name)
                path.replace(place)
        except BaseException:
            _give_back(target, written, replaced, moved)
            if is_new:
                target.rmdir()
            raise
    except OSError as fault:
        raise WriteError(f"{target}: cannot be written to ({fault.strerror}); close programs that use it, or give another --out") from fault


def _give_back(target: Path, written: Path, replaced: Path, moved: list[str]) -> None:
    for name in moved:
        if (replaced / name).exists() or (replaced / name).is_symlink():
            (replaced / name).replace(target / name)
        elif not (written / name).exists():
            (target / name).unlink()
