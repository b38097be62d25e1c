"""A Dask scheduler and workers on this machine, as their own programs: what a cluster is to lossmap."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

TESTS = Path(__file__).resolve().parent


@dataclass
class Cluster:
    """Its address, and the programs that it is made of."""

    address: str
    scheduler: subprocess.Popen[bytes]
    start: Callable[..., subprocess.Popen[bytes]]
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)


@contextmanager
def cluster(folder: Path, workers: int = 2, *manners: str) -> Iterator[Cluster]:
    """One of `workers` workers with a thread each; ends with the block."""
    folder.mkdir(parents=True, exist_ok=True)
    # workers import what tests hand them
    surroundings = os.environ | {"PYTHONPATH": os.pathsep.join(path for path in (str(TESTS), os.environ.get("PYTHONPATH", "")) if path)}

    def start(*words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", *words, "--no-dashboard"]
        return subprocess.Popen(command, cwd=folder, env=surroundings, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    file = folder / "scheduler.json"
    scheduler = start("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(file))
    made = Cluster("", scheduler, start)
    try:
        made.address = _address(file, scheduler)
        how = manners or ("--no-nanny",)
        made.workers += [start("worker", made.address, *how, "--nthreads", "1", "--local-directory", str(folder)) for _ in range(workers)]
        yield made
    finally:
        for program in (*made.workers, scheduler):
            program.kill()
            program.wait()


def _address(file: Path, scheduler: subprocess.Popen[bytes]) -> str:
    for _ in range(300):
        try:
            return str(json.loads(file.read_text())["address"])
        except (OSError, ValueError):
            if scheduler.poll() is not None:
                break
            time.sleep(0.1)
    raise RuntimeError("no scheduler came up")
