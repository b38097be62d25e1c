"""Runs as processes that are ended from outside: forked from one that has loaded everything, watched, signalled."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["TOUCHES", "Tally", "code_of", "count_touches", "forked", "processor_s", "run_command", "started", "tried"]

SCRIPT = Path(__file__).with_name("faults.py")
#: Calls that touch files, as Python's audit events name them.
TOUCHES = ("open", "os.rename", "os.mkdir", "os.rmdir", "os.remove", "os.listdir", "os.scandir", "shutil.rmtree", "fcntl.flock")


@dataclass
class Tally:
    """What was left after how many moments, and what was not as it should be."""

    what: str
    moments: int = 0
    left: Counter[str] = field(default_factory=Counter)
    reruns: int = 0
    wrong: list[str] = field(default_factory=list)


def processor_s(pid: int) -> float:
    """What a process has had of the processor [s]."""
    parts = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def count_touches(place: str, last: int | None = None, then: Callable[[], None] = lambda: None) -> list[int]:
    """Count this process's calls that touch files below `place`, and do something at the `last` one."""
    count, busy = [0], [False]

    def touched(event: str, what: tuple[Any, ...]) -> None:
        if busy[0] or event not in TOUCHES:
            return
        if event == "fcntl.flock" or any(isinstance(one, (str, os.PathLike)) and os.fspath(one).startswith(place) for one in what):
            count[0] += 1
            if count[0] == last:
                busy[0] = True
                then()
                busy[0] = False

    sys.addaudithook(touched)
    return count


def forked(work: Callable[[], int]) -> int:
    """Do it in a copy of this process; its exit code."""
    return code_of(started(work))


def started(work: Callable[[], int]) -> int:
    """Have a copy of this process begin it; its id."""
    pid = os.fork()
    if pid:
        return pid
    code = 1
    signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever starts us in the background has it ignored
    try:
        code = work()
    finally:
        os._exit(code)


def code_of(pid: int) -> int:
    """Wait for its end; its exit code, a signal below 0."""
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def run_command(words: Sequence[str], said: Path = Path(os.devnull)) -> int:
    """The lossmap command in this process, what it says written to a file; a crash is 1."""
    from lossmap.pipelines.command import main

    with said.open("w") as out:
        sys.stdout = sys.stderr = out
        try:
            return main(words)
        except Exception:
            traceback.print_exc()
            return 1


def tried(trial: str, moments: int = 0) -> dict[str, Any]:
    """The tally of one trial of `tests/faults.py`, in a process of its own that may fork."""
    asked = [sys.executable, str(SCRIPT), "--only", trial, "--moments", str(moments), "--json"]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert done.stdout, done.stderr
    return dict(json.loads(done.stdout)[0])
