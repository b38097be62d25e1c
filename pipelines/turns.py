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
    if fcntl is None or not folder.is_dir():
        yield
        return
    place = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # a network disk may know no turns: then names are changed as quickly as can be
            fcntl.flock(place, fcntl.LOCK_EX)
        yield
    finally:
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
    file = target.parent / f".{target.name}.turn"
    place = _held(file, waits) if fcntl is not None else None
    try:
        yield
    finally:
        if place is not None:
            file.unlink(missing_ok=True)
            os.close(place)


def _held(file: Path, waits: Callable[[], None]) -> int | None:
    """The opened file, ours alone; None where the disk knows no turns."""
    says: Callable[[], None] | None = waits
    while True:
        try:
            place = os.open(file, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError:  # whoever may not write there hears so from what he writes
            return None
        try:
            if says is not None and _is_taken(place):
                says()
                says = None
            fcntl.flock(place, fcntl.LOCK_EX)
        except OSError:
            os.close(place)
            file.unlink(missing_ok=True)
            return None
        except BaseException:  # stopped while it waits
            os.close(place)
            raise
        # the one before took the file away as it ended: then what is held is nobody's turn any more
        with suppress(OSError):
            if os.path.samestat(os.fstat(place), file.stat()):
                return place
        os.close(place)


def _is_taken(place: int) -> bool:
    try:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    return False
