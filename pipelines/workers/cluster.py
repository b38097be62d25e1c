"""Workers of a Dask cluster, each thread of which has a process of its own; those that would do other work than we are refused."""

from __future__ import annotations

import logging
import multiprocessing
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import lossmap
from lossmap.base.errors import SettingsError, shown

from .cores import Processes
from .crew import Crew, Lost, giving

__all__ = ["on_cluster"]

#: A scheduler, and a cluster's first worker, have this long to answer [s].
_ANSWER_S = 10.0
#: Tasks a cluster is given at least, so that one which grows with its queue sees a queue.
_CLUSTER_AHEAD = 256
#: The processes of the Dask worker that this is.
_OF_WORKER = Processes()


@contextmanager
def on_cluster(address: str, sees: Path) -> Iterator[Crew]:
    """The crew behind a scheduler's address, all of whose workers see a folder.

    Raises
    ------
    SettingsError
    """
    client = _client(address)
    try:
        _wait_for_workers(client, address)
        _check_workers(client, address, sees)
        ahead = max(2 * sum(client.nthreads().values()), _CLUSTER_AHEAD)
        executor = client.get_executor(pure=False)

        yield Crew(ahead, giving(executor, partial(_in_worker, lossmap.__version__)), partial(_check_cluster, client, address))
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
