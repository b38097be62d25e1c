"""Disks for tests: small ones that fill up, and ones that cannot be written to."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

__all__ = ["bound_read_only", "disk", "read_only"]


@contextmanager
def disk(place: Path, size: str = "8m") -> Iterator[Path]:
    """A disk of its own in memory at `place`; skips, with the reason, where none may be mounted."""
    place.mkdir(exist_ok=True)
    try:
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)], capture_output=True, text=True, check=False
        )
    except FileNotFoundError:
        pytest.skip("no mount here: a small disk cannot be made")
    if done.returncode:
        pytest.skip(f"a small disk may not be mounted here ({done.stderr.strip()})")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


@contextmanager
def read_only(place: Path) -> Iterator[Path]:
    """The disk mounted at `place` as one that cannot be written to."""
    subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
    try:
        yield place
    finally:
        subprocess.run(["mount", "-o", "remount,rw", str(place)], check=True)


@contextmanager
def bound_read_only(folder: Path, place: Path) -> Iterator[Path]:
    """A folder seen at `place` too, where it cannot be written to; skips, with the reason, where that may not be done."""
    place.mkdir(exist_ok=True)
    done = subprocess.run(["mount", "--bind", "-o", "ro", str(folder), str(place)], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"a folder may not be bound here ({done.stderr.strip()})")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)
