"""A process of its own for each thread that hands work on: one that is killed, hangs or eats the memory takes no other with it."""

from __future__ import annotations

import ctypes
import multiprocessing
import os
import pickle
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from typing import Any

from .. import plain_process
from .crew import GRACE_S, Crew, Lost, giving, tried

__all__ = ["Processes", "on_cores"]

#: Exit code of a process that was asked to end.
_STOPPED = 143
#: Memory that a process keeps for its next field instead of giving it back, and the largest piece it keeps so [bytes].
_KEPT_BYTES, _PIECE_BYTES = 1 << 28, 1 << 25


@contextmanager
def on_cores(cores: int) -> Iterator[Crew]:
    """A crew of so many threads of this machine, each with its process."""
    processes, threads = Processes(), ThreadPoolExecutor(cores, "lossmap")
    try:
        yield Crew(cores, giving(threads, processes.run), lambda: None)
    finally:
        threads.shutdown(wait=False, cancel_futures=True)
        processes.stop()
        threads.shutdown()


class Processes:
    """A process for each thread that calls, which takes its tasks one after another."""

    def __init__(self) -> None:
        self._of_thread = threading.local()
        self._all: list[_Process] = []

    def run(self, packed: bytes, needed: tuple[str, ...], limit_s: float) -> Any:
        """Have a task done in the calling thread's process; `Lost` where it did not come to its end."""
        process = getattr(self._of_thread, "process", None)
        if process is None:
            process = self._of_thread.process = _Process(needed)
            self._all.append(process)
        return process.run(packed, limit_s)

    def stop(self) -> None:
        """End all of them, whatever they are at; those that are at work first, together."""
        for process in self._all:
            process.cancel()
        for process in self._all:
            process.stop()


class _Process:
    """One process that works; another takes its place when it dies.

    A pool of one: what a pool shares among its processes (a pipe and its lock) can go down
    with any of them, so none is shared here.
    """

    def __init__(self, needed: tuple[str, ...]) -> None:
        self._needed = needed
        self._lock = threading.Lock()
        self._is_stopped = False
        self._task: Future[Any] | None = None
        self._pool = self._started()

    def _started(self) -> Any:
        from pebble import ProcessPool

        return ProcessPool(1, initializer=_settle, context=_context(self._needed))

    def run(self, packed: bytes, limit_s: float) -> Any:
        """The task's result, or `Lost`."""
        with self._lock:
            if self._is_stopped:
                return Lost("stopped")
            try:
                task = self._task = self._pool.schedule(_unpacked, (packed,), timeout=limit_s)
            except RuntimeError:  # its process died with nothing to do
                self._renew()
                task = self._task = self._pool.schedule(_unpacked, (packed,), timeout=limit_s)
        return self._outcome(task, limit_s)

    def _outcome(self, task: Future[Any], limit_s: float) -> Any:
        from pebble import ProcessExpired

        try:
            found = task.result(limit_s + GRACE_S)
        except CancelledError:
            return Lost("stopped")
        except ProcessExpired as death:
            return Lost("killed", _cause(death.exitcode))
        except BrokenProcessPool:
            self._renew()
            return Lost("killed")
        except TimeoutError:
            if not task.done():
                self._renew()
            return Lost("limit")
        if isinstance(found, Lost) and found.why == "memory":
            self._renew()  # what it had got hold of goes back
        return found

    def _renew(self) -> None:
        self._pool.stop()
        self._pool.join()
        self._pool = self._started()

    def cancel(self) -> None:
        """Give up what it is at."""
        with self._lock:
            self._is_stopped = True
            if self._task is not None:
                self._task.cancel()

    def stop(self) -> None:
        """End it."""
        self._pool.stop()
        self._pool.join()


def _cause(exit_code: int) -> str:
    if exit_code >= 0:
        return f"exit code {exit_code}"
    with suppress(ValueError):
        return signal.Signals(-exit_code).name
    return f"signal {-exit_code}"


def _context(needed: tuple[str, ...]) -> Any:
    """How processes begin: copies of one that has loaded the modules the work needs, and that has no threads."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(needed))
    return context


def _unpacked(packed: bytes) -> Any:
    task, item = pickle.loads(packed)
    try:
        return tried(task, item)
    except SystemExit:
        os._exit(_STOPPED)  # what was half written is gone; nobody waits for a result


def _settle() -> None:
    """One thread a worker, a stop that leaves nothing lying about, and memory that is there for the next field."""
    from threadpoolctl import threadpool_limits

    plain_process()
    threadpool_limits(1)  # for what is loaded; the names above for what will be
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(_STOPPED))
    with suppress(OSError, AttributeError):  # the C library of Linux alone has this
        library = ctypes.CDLL(None)
        # M_TRIM_THRESHOLD and M_MMAP_THRESHOLD: one without the other is no help
        library.mallopt(-1, _KEPT_BYTES)
        library.mallopt(-3, _PIECE_BYTES)
