"""Who works: one interface for this process, its cores and a cluster, and what is left of a task that comes to grief."""

from __future__ import annotations

import pickle
import traceback
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from dataclasses import dataclass
from itertools import islice
from typing import Any, Literal, TypeVar

from lossmap.base.errors import shown

__all__ = ["GRACE_S", "Crew", "Lost", "giving", "tried", "worked"]

Item = TypeVar("Item")
Result = TypeVar("Result")

#: Beyond a task's own limit [s]: for its process to start and to be stopped.
GRACE_S = 60.0


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
        done, _ = wait(running, limit_s + GRACE_S, FIRST_COMPLETED)
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


def tried(task: Callable[[Any], Any], item: Any) -> Any:
    """The task's result, or `Lost` where it raised."""
    try:
        return task(item)
    except MemoryError:
        return Lost("memory")
    except Exception as fault:
        return Lost("fault", shown(f"{type(fault).__name__}: {fault}", 300), traceback.format_exc())


def giving(executor: Executor, run: Callable[[bytes, tuple[str, ...], float], Any]) -> Callable[..., Future[Any]]:
    """How to hand a task on: pickled, so that whoever passes it along need not load what it needs."""

    def submit(task: Callable[[Any], Any], item: Any, limit_s: float) -> Future[Any]:
        needed = (task.__module__, type(item).__module__)
        return executor.submit(run, pickle.dumps((task, item)), needed, limit_s)

    return submit
