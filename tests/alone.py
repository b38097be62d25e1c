"""A whole `lossmap` command in a process of its own: how it ended, what it said, what it took."""

from __future__ import annotations

import re
import resource
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Done", "alone"]

# the peak of this program alone: the usage a child reports also counts its parent's pages
_SCRIPT = (
    "import sys; from lossmap.pipelines.command import main; code = main(sys.argv[1:]);"
    "print('PEAK', *[line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')]); sys.exit(code)"
)
_PEAK = re.compile(r"^PEAK (\d+)\n", flags=re.MULTILINE)


@dataclass(frozen=True)
class Done:
    """How it ended.

    Attributes
    ----------
    code : int
    out, err : str
    cpu_s, wall_s : float
        Of the processor, processes of its own included, and by the clock [s].
    peak_mb : float
        Most memory of the command's own process [MB]; 0 where it was not told.
    """

    code: int
    out: str
    err: str
    cpu_s: float
    wall_s: float
    peak_mb: float


def alone(words: Sequence[str], most_s: float | None = None) -> Done:
    """Run the command; a process that takes longer than `most_s` is an error of subprocess."""
    before, began = _cpu_s(), time.perf_counter()
    done = subprocess.run([sys.executable, "-c", _SCRIPT, *words], capture_output=True, text=True, check=False, timeout=most_s)
    wall_s = time.perf_counter() - began
    peak = _PEAK.search(done.stdout)
    peak_mb = int(peak[1]) / 1024 if peak else 0.0
    return Done(done.returncode, _PEAK.sub("", done.stdout), done.stderr, _cpu_s() - before, wall_s, peak_mb)


def _cpu_s() -> float:
    """Of all processes that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime
