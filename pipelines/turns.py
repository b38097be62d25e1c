"""Runs that write into one place take turns; the system lets go of a run that is killed, so that nobody waits for the dead."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # a system without it
    fcntl = None  # type: ignore[assignment]

__all__ = ["alone", "in_turn"]


@contextmanager
def in_turn(folder: Path) -> Iterator[None]:
    """One run at a time changes or reads names in `folder`; another waits the moment that takes."""
    held = list[int]()
    try:
        if fcntl is not None:
            # a folder that is not there has no names, and a network disk may know no turns: then they are changed as quickly as can be
            with suppress(OSError):
                held.append(os.open(folder, os.O_RDONLY))
                fcntl.flock(held[0], fcntl.LOCK_EX)
        yield
    finally:
        for place in held:
            os.close(place)


@contextmanager
def alone(target: Path, waits: Callable[[], None]) -> Iterator[None]:
    """One run at a time, from its beginning to its end, works on the results in `target`.

    While it does, ``.NAME.turn`` lies beside them. It is taken away at the end, by the next
    one where this one is killed.

    Parameters
    ----------
    target : Path
    waits : callable
        Says so, once, where another run is at work there and this one waits for its end.
    """
    file, held = target.parent / f".{target.name}.turn", list[int]()
    try:
        if fcntl is not None:
            _hold(file, waits, held)
        yield
    finally:
        for place in held:
            _let_go(place, file)


def _hold(file: Path, waits: Callable[[], None], held: list[int]) -> None:
    """Open the file and lock it; nothing is held where whoever asks may not write there, or the disk knows no turns."""
    is_told = False
    while True:
        with suppress(OSError):
            held.append(os.open(file, os.O_RDWR | os.O_CREAT, 0o666))
        if not held:
            return
        try:
            if not is_told and _is_taken(held[0]):
                waits()
                is_told = True
            fcntl.flock(held[0], fcntl.LOCK_EX)
        except OSError:
            return
        # the one before took the file away as it ended: then what is held is nobody's turn any more
        if _is_of(held[0], file):
            return
        os.close(held.pop())


def _let_go(place: int, file: Path) -> None:
    """Close the file, and take it away unless it is another's turn, or another's file."""
    if not _is_taken(place) and _is_of(place, file):
        file.unlink(missing_ok=True)
    os.close(place)


def _is_of(place: int, file: Path) -> bool:
    with suppress(OSError):
        return os.path.samestat(os.fstat(place), file.stat())
    return False


def _is_taken(place: int) -> bool:
    """Whether another holds it; if not, we do from now on, where the disk knows turns."""
    try:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        return isinstance(fault, BlockingIOError)
    return False
