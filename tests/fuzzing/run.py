"""Feed a reader for some minutes with what coverage says is new: ``python tests/fuzzing/run.py text --seconds 1800``.

Needs atheris (Python's coverage-guided fuzzer, ``pip install atheris``). What breaks is kept
under --findings with its traceback; seconds, executions and findings go to standard output.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import atheris

with atheris.instrument_imports(include=["lossmap"]):
    from fuzzing.targets import TARGETS, Target, fed

#: Slower is a hang [s]; an input that raises the peak of memory by more is a bomb [MB]. (The fuzzer's own inputs fill memory too.)
MOST_SECONDS, MOST_MB = 5.0, 500


class Watched:
    """One target with its tally."""

    def __init__(self, name: str, findings: Path, folder: Path, seconds: float) -> None:
        self.name, self.target, self.findings, self.folder = name, TARGETS[name], findings, folder
        self.until, self.began = time.monotonic() + seconds, time.monotonic()
        self.executions, self.kinds, self.slowest = 0, set[str](), 0.0

    def once(self, content: bytes) -> None:
        """Feed one input, and end the program when the time is up."""
        fault, spent, grown_mb = self._fed(content)
        if spent > MOST_SECONDS:
            spent = min(spent, self._fed(content)[1])  # a hang hangs again; clearing up after thousands of others does not
        self.executions, self.slowest = self.executions + 1, max(self.slowest, spent)
        if fault is not None:
            frames = traceback.extract_tb(fault.__traceback__)
            ours = [frame for frame in frames if "lossmap" in frame.filename] or frames
            self._keep(content, f"{type(fault).__name__} {Path(ours[-1].filename).name}:{ours[-1].lineno}", fault)
        if spent > MOST_SECONDS:
            self._keep(content, f"slow {len(content)}", None, f"{spent:.1f} s")
        if grown_mb > MOST_MB:
            self._keep(content, f"memory {len(content)}", None, f"{grown_mb:.0f} MB")
        if time.monotonic() > self.until:
            self.end()

    def _fed(self, content: bytes) -> tuple[Exception | None, float, float]:
        """What came through, seconds of the processor (a busy machine is no file's fault), and by how much the peak of memory rose [MB]."""
        began, before_mb = time.process_time(), _peak_mb()
        fault = fed(self.target, content, self.folder)
        return fault, time.process_time() - began, _peak_mb() - before_mb

    def _keep(self, content: bytes, kind: str, fault: Exception | None, words: str = "") -> None:
        if kind in self.kinds:
            return
        self.kinds.add(kind)
        stem = f"{self.name}-{hashlib.sha256(kind.encode()).hexdigest()[:10]}"
        (self.findings / f"{stem}.bin").write_bytes(content)
        (self.findings / f"{stem}.txt").write_text(f"{kind}\n{words}\n" + ("".join(traceback.format_exception(fault)) if fault else ""))

    def end(self) -> None:
        """Say what was done; the fuzzer knows no other way out than the process's end."""
        said = {"target": self.name, "seconds": round(time.monotonic() - self.began), "cpu_s": round(time.process_time())}
        said["executions"] = self.executions
        print(
            json.dumps(said | {"findings": sorted(self.kinds), "slowest_s": round(self.slowest, 2), "peak_mb": round(_peak_mb())}),
            flush=True,
        )
        shutil.rmtree(self.folder.parent, ignore_errors=True)
        os._exit(0)


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Feed one target until its time is up."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("target", choices=list(TARGETS))
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--findings", type=Path, default=Path("out") / "fuzzing", help="where what breaks is kept")
    parser.add_argument("--known", type=Path, help="where inputs that reach new code are kept for the next time")
    asked = parser.parse_args()
    asked.findings.mkdir(parents=True, exist_ok=True)
    warnings.simplefilter("ignore")
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as outer:
        known = asked.known or Path(outer) / "known"
        known.mkdir(parents=True, exist_ok=True)
        target: Target = TARGETS[asked.target]
        (Path(outer) / "made").mkdir()
        for number, content in enumerate(target.seeds()):
            (known / f"seed{number}").write_bytes(content)
            fed(target, content, Path(outer) / "made")  # what is loaded at first use is no input's fault
        words = Path(outer) / "words"
        words.write_text("".join(f'"{"".join(f"{chr(92)}x{byte:02x}" for byte in word)}"\n' for word in target.words))
        watched = Watched(asked.target, asked.findings, Path(outer) / "made", asked.seconds)
        options = [
            "-max_len=110000",
            f"-artifact_prefix={asked.findings}/",
            "-report_slow_units=3600",
            "-timeout=120",
            "-rss_limit_mb=3000",
            "-verbosity=0",
            *([f"-dict={words}"] if target.words else []),
        ]
        atheris.Setup([sys.argv[0], *options, str(known)], watched.once)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
