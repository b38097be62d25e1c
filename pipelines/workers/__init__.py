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

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from .cluster import on_cluster
from .cores import on_cores
from .crew import Crew, Lost, tried, worked

__all__ = ["Crew", "Lost", "worked", "workers"]


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
    crew = on_cluster(cluster, sees) if cluster is not None else on_cores(cores) if cores else _here()
    with crew as ready:
        yield ready


@contextmanager
def _here() -> Iterator[Crew]:
    def submit(task: Callable[[Any], Any], item: Any, limit_s: float) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(tried(task, item))
        return done

    yield Crew(1, submit, lambda: None)
