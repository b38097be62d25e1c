"""Work with planted faults, in a module that worker processes can import."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any


def act(what: tuple[str, Any]) -> Any:
    """Do as the item says: give back twice a number, or come to grief in one of the ways in which a field can."""
    verb, value = what
    return {
        "double": lambda: 2 * value,
        "pid": os.getpid,
        "sleep": lambda: time.sleep(value),
        "die": lambda: os.kill(os.getpid(), signal.SIGKILL),
        "die once": lambda: _once(Path(value), lambda: os.kill(os.getpid(), signal.SIGKILL)),
        "exit": lambda: os._exit(value),
        "starve": _starve,
        "slip": lambda: {}["planted"],
        "half": lambda: _half(Path(value)),
        "threads": _threads,
    }[verb]()


def _once(mark: Path, grief: Any) -> str:
    if mark.exists():
        return "well"
    mark.touch()
    return str(grief())


def _starve() -> None:
    raise MemoryError


def _half(place: Path) -> None:
    """Write half a thing, and take it away when told to stop."""
    place.write_text("half")
    try:
        time.sleep(60)
    finally:
        place.unlink()


def _threads() -> int:
    import numpy as np
    from threadpoolctl import threadpool_info

    np.ones((2, 2)) @ np.ones((2, 2))
    return max((pool["num_threads"] for pool in threadpool_info()), default=1)
