"""Whole results or none: written aside, then renamed."""

from __future__ import annotations

import glob
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lossmap.base.errors import WriteError

__all__ = ["whole_folder"]


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
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists() and not target.is_dir():
            raise WriteError(f"{target}: is a file, and the results need a folder of that name; give another --out")
        _sweep(target)
        aside = Path(tempfile.mkdtemp(prefix=f".{target.name}.{os.getpid()}.", dir=target.parent))
    except OSError as fault:
        if isinstance(fault, WriteError):
            raise
        raise WriteError(f"{target.parent}: cannot be written to ({fault.strerror}); give another --out") from fault
    try:
        written = aside / "new"
        written.mkdir(mode=0o755)
        yield written
        _take_place(target, written, aside / "old")
    finally:
        with suppress(OSError):
            shutil.rmtree(aside)


def _sweep(target: Path) -> None:
    """Clear what runs that were killed left beside `target`; an earlier result caught half-way goes back to its place."""
    for aside in target.parent.glob(f".{glob.escape(target.name)}.*.*"):
        pid = aside.name.removeprefix(f".{target.name}.").partition(".")[0]
        if not pid.isdigit() or _runs(int(pid)):
            continue
        if (aside / "old").is_dir() and not target.exists():
            (aside / "old").rename(target)
        shutil.rmtree(aside, ignore_errors=True)


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


def _copied(source: Path, copy: Path) -> None:
    if source.is_dir() and not source.is_symlink():
        shutil.copytree(source, copy, symlinks=True)
    else:
        shutil.copy2(source, copy, follow_symlinks=False)
