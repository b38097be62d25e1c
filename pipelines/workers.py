"""Where fields are worked on: in this process, on this machine's cores, or on a Dask cluster.

All three are an `Executor` behind one `Crew`. But for the first, whatever is worked on has a
process of its own: one that is killed, hangs or eats the memory takes no other with it, and
on a cluster not even the cluster's worker.

::

    here      this process        ──────────────────────────────> the task
    cores     a thread a core     ──> its own process (pebble) ──> the task
    cluster   a Dask worker's thread ──> its own process (pebble) ──> the task
"""

from __future__ import annotations

import ctypes
import logging
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, ThreadPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, Literal, TypeVar

import lossmap
from lossmap.base.errors import SettingsError, shown

from . import plain_process

__all__ = ["Crew", "Lost", "worked", "workers"]

Item = TypeVar("Item")
Result = TypeVar("Result")

#: Beyond a task's own limit [s]: for its process to start and to be stopped.
_GRACE_S = 60.0
#: Exit code of a process that was asked to end.
_STOPPED = 143
#: A scheduler, and a cluster's first worker, have this long to answer [s].
_ANSWER_S = 10.0
#: Tasks a cluster is given at least, so that one which grows with its queue sees a queue.
_CLUSTER_AHEAD = 256
#: Memory that a process keeps for its next field instead of giving it back, and the largest piece it keeps so [bytes].
_KEPT_BYTES, _PIECE_BYTES = 1 << 28, 1 << 25


@dataclass(frozen=True)
class Lost:
    """What is left of a task that did not come to its end.

    Attributes
    ----------
    why : str
        ``killed`` from outside, stopped at its ``limit``, out of ``memory``, ``stopped`` with
        everything else, or a ``fault`` of the program.
    detail : str
        By which signal, or the fault's own words.
    trace : str
        Where in the program the fault was.
    """

    why: Literal["killed", "limit", "memory", "stopped", "fault"]
    detail: str = ""
    trace: str = ""


@dataclass(frozen=True)
class Crew:
    """Those who work: an executor, and how to give it one task.

    Attributes
    ----------
    ahead : int
        Tasks that are given out at a time; those done go before others come, so what waits here is never many.
    submit : callable
        ``(task, item, limit_s)`` to the `Future` of its result or `Lost`.
    check : callable
        Raises a refusal where nobody is left to work.
    """

    ahead: int
    submit: Callable[[Callable[[Any], Any], Any, float], Future[Any]]
    check: Callable[[], None]


def worked(
    crew: Crew, task: Callable[[Item], Result], items: Iterable[Item], limit_s: float, alone: bool = False
) -> Iterator[tuple[Item, Result | Lost]]:
    """Each item with what `task` made of it, in the order in which they are done.

    Parameters
    ----------
    crew : Crew
    task : callable
        Of a module that the workers can import, with arguments and result that can be pickled.
    items : iterable
        Taken as the crew gets on, never all at once.
    limit_s : float
        How long one may take [s].
    alone : bool
        One at a time, with nothing beside it.
    """
    waiting, ahead = iter(items), 1 if alone else crew.ahead
    running: dict[Future[Any], Item] = {}
    while True:
        for item in islice(waiting, ahead - len(running)):
            running[crew.submit(task, item, limit_s)] = item
        if not running:
            return
        done, _ = wait(running, limit_s + _GRACE_S, FIRST_COMPLETED)
        if not done or any(future.cancelled() for future in done):
            crew.check()
        for future in done:
            yield running.pop(future), _result(future)


def _result(future: Future[Any]) -> Any:
    try:
        return future.result()
    except CancelledError:
        return Lost("stopped")
    except Exception as fault:  # of the cluster's own, such as a worker that lacks a library
        return Lost("fault", shown(f"{type(fault).__name__}: {fault}", 300))


@contextmanager
def workers(cores: int = 1, cluster: str | None = None, sees: Path = Path()) -> Iterator[Crew]:
    """The crew for a run; at the end of the block its processes are gone.

    Parameters
    ----------
    cores : int
        Processes of this machine; 0 works in this very process, without time limits.
    cluster : str, optional
        A Dask scheduler's address; goes before `cores`.
    sees : Path
        A folder that a cluster's workers must have under the same path.

    Raises
    ------
    SettingsError
        Dask is missing, nobody answers at the address, or a worker there cannot do the work.
    """
    crew = _cluster(cluster, sees) if cluster is not None else _cores(cores) if cores else _here()
    with crew as ready:
        yield ready


@contextmanager
def _here() -> Iterator[Crew]:
    def submit(task: Callable[[Any], Any], item: Any, limit_s: float) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(_tried(task, item))
        return done

    yield Crew(1, submit, lambda: None)


def _tried(task: Callable[[Any], Any], item: Any) -> Any:
    try:
        return task(item)
    except MemoryError:
        return Lost("memory")
    except Exception as fault:
        return Lost("fault", shown(f"{type(fault).__name__}: {fault}", 300), traceback.format_exc())


@contextmanager
def _cores(cores: int) -> Iterator[Crew]:
    processes, threads = _Processes(), ThreadPoolExecutor(cores, "lossmap")
    try:
        yield Crew(cores, _giving(threads, processes.run), lambda: None)
    finally:
        threads.shutdown(wait=False, cancel_futures=True)
        processes.stop()
        threads.shutdown()


def _giving(executor: Executor, run: Callable[[bytes, tuple[str, ...], float], Any]) -> Callable[..., Future[Any]]:
    """How to hand a task on: pickled, so that whoever passes it along need not load what it needs."""

    def submit(task: Callable[[Any], Any], item: Any, limit_s: float) -> Future[Any]:
        needed = (task.__module__, type(item).__module__)
        return executor.submit(run, pickle.dumps((task, item)), needed, limit_s)

    return submit


class _Processes:
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
            found = task.result(limit_s + _GRACE_S)
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
        return _tried(task, item)
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


# ---------------------------------------------------------------- a cluster

#: The processes of the Dask worker that this is.
_OF_WORKER = _Processes()


@contextmanager
def _cluster(address: str, sees: Path) -> Iterator[Crew]:
    client = _client(address)
    try:
        _wait_for_workers(client, address)
        _check_workers(client, address, sees)
        ahead = max(2 * sum(client.nthreads().values()), _CLUSTER_AHEAD)
        executor = client.get_executor(pure=False)

        yield Crew(ahead, _giving(executor, partial(_in_worker, lossmap.__version__)), partial(_check_cluster, client, address))
    finally:
        client.close(timeout=_ANSWER_S)


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as missing:
        raise SettingsError("--cluster: Dask is not installed; pip install 'lossmap[cluster]' here and on every worker") from missing
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what it has to say of a lost scheduler is a refusal of ours
    try:
        return Client(address, timeout=_ANSWER_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as fault:
        raise SettingsError(
            f"--cluster {shown(address)}: no Dask scheduler answers there within {_ANSWER_S:.0f} s; start one (dask scheduler) "
            "and give the address it prints, as tcp://10.0.0.5:8786"
        ) from fault


def _check_cluster(client: Any, address: str) -> None:
    if client.status != "running":
        raise SettingsError(
            f"--cluster {address}: the scheduler is gone; start it again and run the same again: what is done is taken over"
        )
    if not client.nthreads():
        raise SettingsError(f"--cluster {address}: has lost all its workers; start some and run the same again: what is done is taken over")


def _wait_for_workers(client: Any, address: str) -> None:
    with suppress(TimeoutError):
        client.wait_for_workers(1, _ANSWER_S)
        return
    raise SettingsError(f"--cluster {address}: has no workers; start some with dask worker {address} --no-nanny --nthreads 1")


def _check_workers(client: Any, address: str, sees: Path) -> None:
    """Refuse workers that would do other work than this machine, or none, all of them in one message."""
    faults = {worker: _unfit(found, sees) for worker, found in client.run(_self_told, str(sees), on_error="return").items()}
    if any(faults.values()):
        raise SettingsError("\n".join(f"--cluster {address}: worker {worker} {fault}" for worker, fault in faults.items() if fault))


def _self_told(path: str) -> tuple[str, bool, bool]:
    """A worker of itself: its version of lossmap, whether it may have processes of its own, whether it sees a folder."""
    return lossmap.__version__, not multiprocessing.current_process().daemon, Path(path).is_dir()


def _unfit(found: Any, sees: Path) -> str:
    """What is wrong with a worker; "" where nothing is."""
    if isinstance(found, BaseException):
        return f"cannot load lossmap ({shown(f'{type(found).__name__}: {found}', 120)}); pip install 'lossmap[cluster]' there"
    version, may_start, is_seen = found
    if version != lossmap.__version__:
        return f"has lossmap {shown(version)}, this machine {lossmap.__version__}; install the same on both"
    if not may_start:
        return "may start no processes, so a field that hangs would hold it for ever; start it with --no-nanny"
    if not is_seen:
        return f"does not see {shown(sees, 200)}; fields and results must lie on storage that all share under one path"
    return ""


def _in_worker(version: str, packed: bytes, needed: tuple[str, ...], limit_s: float) -> Any:
    if version != lossmap.__version__:  # it came when the others had been looked at
        return Lost("fault", f"a worker has lossmap {lossmap.__version__}, not {version}")
    return _OF_WORKER.run(packed, needed, limit_s)
