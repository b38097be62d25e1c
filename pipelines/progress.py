"""What the person who waits sees: a bar on a screen; a line a stage, or a line a field of a season, in a log."""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

__all__ = ["Fields", "Stages", "listen"]

_log = logging.getLogger("lossmap")


class Stages:
    """Names and times the stages of one field; ``with stage("clean"):`` around each."""

    def __init__(self, field_id: str, bar: bool = False, level: int = logging.INFO) -> None:
        self.seconds: dict[str, float] = {}
        self._field_id = field_id
        self._bar = bar
        self._level = level

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Time one stage, and say it."""
        began = time.perf_counter()
        with self._shown(name):
            yield
        self.seconds[name] = time.perf_counter() - began
        _log.log(self._level, "%s: %s, %.2f s", self._field_id, name, self.seconds[name])

    @contextmanager
    def _shown(self, name: str) -> Iterator[None]:
        if not self._bar:
            yield
            return
        from rich.console import Console

        with Console(stderr=True).status(f"{self._field_id}: {name}"):
            yield


class Fields:
    """Counts the fields of a season that are done: a bar on a screen, else a line each."""

    def __init__(self, total: int, bar: bool) -> None:
        self.done = self.failed = 0
        self._total = total
        self._bar = _fields_bar(total) if bar else None

    def __enter__(self) -> Fields:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, field_id: str, error: str, remade: bool, seconds: float) -> None:
        """One more is done: mapped, taken over, or failed with `error`."""
        self.done += 1
        self.failed += bool(error)
        said = error or ("mapped" if remade else "unchanged, taken over")
        if self._bar is not None:
            self._bar.update(0, advance=1, failed=self.failed)
            if error:
                self._bar.console.print(f"{field_id}: {said}", markup=False, highlight=False, soft_wrap=True)
        elif error:
            _log.warning("%s: %s", field_id, said)
        else:
            _log.info("%s: %s, %.1f s (%d of %d)", field_id, said, seconds, self.done, self._total)


def _fields_bar(total: int) -> Any:
    """Fields done of all, how many failed, and when it will end."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("fields, {task.fields[failed]} failed, ends in"), TimeRemainingColumn())
    # a field may take a minute: an end foreseen from the last seconds alone would jump
    shown = Progress(*columns, console=Console(stderr=True), transient=True, speed_estimate_period=1800)
    shown.add_task("", total=total, failed=0)
    return shown


def listen(quiet: bool, verbose: bool) -> bool:
    """Send the log to stderr; returns whether a person watches and a moving line is wanted instead."""
    watched = sys.stderr.isatty() and not quiet and not verbose
    handler = logging.StreamHandler()
    handler.setFormatter(logging.Formatter("%(message)s"))
    _log.handlers[:] = [handler]
    _log.propagate = False
    _log.setLevel(logging.WARNING if quiet or watched else logging.DEBUG if verbose else logging.INFO)
    return watched
