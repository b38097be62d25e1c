"""Zips from others: what a zip states of itself is judged before anything in it is unpacked."""

from __future__ import annotations

import contextlib
import os
import struct
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from lossmap.base.errors import ReadError, shown

__all__ = ["BROKEN_ZIP", "opened_zip", "refuse_count"]

# A season of one machine is some hundred files and some hundred megabytes: beyond these it is no task data, and no log.
MOST_ENTRIES = 20_000
MOST_BYTES = 2_000_000_000
# A directory of so many entries with long names; a longer one would be read whole before it could be counted.
MOST_DIRECTORY = 10_000_000
# Logs shrink to a tenth, XML to a fiftieth; deflate can do 1,032, which only a bomb reaches.
MOST_RATIO, RATIO_FROM = 200, 10_000_000

#: What a damaged list of files makes of zipfile: unknown versions, wild lengths, names that are no text.
BROKEN_ZIP = (zipfile.BadZipFile, NotImplementedError, struct.error, UnicodeDecodeError, EOFError, OverflowError)


@contextlib.contextmanager
def opened_zip(path: Path, where: str) -> Iterator[zipfile.ZipFile]:
    """A zip that would not burst when unpacked.

    Raises
    ------
    ReadError
        It lists more files, or would unpack to more, than any log does.
    BROKEN_ZIP
        Damaged; for the caller to put into words.
    """
    _refuse_directory(path, where)
    with zipfile.ZipFile(path) as archive:
        _refuse_bomb(archive.infolist(), where)
        yield archive


def refuse_count(count: int, where: str) -> None:
    """Refuse more files than task data can have.

    Raises
    ------
    ReadError
    """
    if count > MOST_ENTRIES:
        raise ReadError(f"{where}: holds more than {MOST_ENTRIES:,} files; give the folder or zip of the task data alone")


def _refuse_directory(path: Path, where: str) -> None:
    """Refuse a zip by the size its own end states, before its list of files is read into memory."""
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(size - 66_000, 0))
        tail = file.read()
    at = tail.rfind(b"PK\x05\x06")
    end = tail[at : at + 22]
    if at < 0 or len(end) < 22:
        raise zipfile.BadZipFile("it has no end of its list of files")
    # the 64-bit form serves only more files or bytes than task data can have
    if tail[max(at - 20, 0) : at].startswith(b"PK\x06\x07") or int.from_bytes(end[12:16], "little") > MOST_DIRECTORY:
        raise ReadError(f"{where}: lists more files than task data can have (at most {MOST_ENTRIES:,}); give the zip of one machine")


def _refuse_bomb(entries: Sequence[zipfile.ZipInfo], where: str) -> None:
    refuse_count(len(entries), where)
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BYTES:
        raise ReadError(f"{where}: would unpack to {total / 1e9:,.1f} GB, at most {MOST_BYTES / 1e9:g} GB are read; split the task data")
    for entry in entries:
        if entry.file_size > RATIO_FROM and entry.file_size > MOST_RATIO * max(entry.compress_size, 1):
            raise ReadError(
                f"{where}: {shown(entry.filename)} would unpack to {entry.file_size / max(entry.compress_size, 1):,.0f} times its size, "
                "which no log does; export it again"
            )
