"""What the person who waits sees: a bar on a screen, a line a stage in a log."""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["Stages", "listen"]

_log = logging.getLogger("lossmap")


class Stages:
    """Names and times the stages of one field; ``with stage("clean"):`` around each."""

    def __init__(self, field_id: str, bar: bool) -> None:
        self.seconds: dict[str, float] = {}
        self._field_id = field_id
        self._bar = bar

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Time one stage, and say it."""
        began = time.perf_counter()
        with self._shown(name):
            yield
        self.seconds[name] = time.perf_counter() - began
        _log.info("%s: %s, %.2f s", self._field_id, name, self.seconds[name])

    @contextmanager
    def _shown(self, name: str) -> Iterator[None]:
        if not self._bar:
            yield
            return
        from rich.console import Console

        with Console(stderr=True).status(f"{self._field_id}: {name}"):
            yield


def listen(quiet: bool, verbose: bool) -> bool:
    """Send the log to stderr; returns whether a person watches and a moving line is wanted instead."""
    watched = sys.stderr.isatty() and not quiet and not verbose
    handler = logging.StreamHandler()
    handler.setFormatter(logging.Formatter("%(message)s"))
    _log.handlers[:] = [handler]
    _log.propagate = False
    _log.setLevel(logging.WARNING if quiet or watched else logging.DEBUG if verbose else logging.INFO)
    return watched
