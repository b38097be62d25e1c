"""End runs from outside at moments spread over them, and look at what is left: ``python tests/faults.py``.

Half of the moments are shares of the processor time of a whole run, half are calls by which
it touches its results (more of them towards its end, where results take their place). After
each, the results are the earlier ones or the new ones, whole, or are not there; every few
moments the run is made again, and must come to its end and leave nothing beside its results.
Files vanish while they are read, and two runs write into one folder at once. Seasons have moments
of their own (`faults_season`).

One process loads everything and forks each run, so that a run is what it does and not what
it loads.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import faults_season
from endings import Tally, code_of, count_touches, forked, processor_s, run_command, started

from corpus import cases, farms

FLOWS = ("map", "stops", "rank")
AGAIN_EACH = 5


@dataclass(frozen=True)
class Run:
    """One flow on made files; the `earlier` and the later asking differ in a setting that shows in every page."""

    flow: str
    folder: Path

    @property
    def out(self) -> Path:
        """Where its results lie."""
        return self.folder / "out" / "creek"

    def words(self, earlier: bool) -> list[str]:
        """The command."""
        units = "page.units" if self.flow == "rank" else "report.units"
        more = {"map": [], "stops": ["--number", "4" if earlier else "5"], "rank": ["--on", farms.DAY, *farms.QUICK]}[self.flow]
        place = [str(self.folder / "creek"), "--out", str(self.folder / "out"), "-q"]
        return [self.flow, *place, "--set", f"{units}={'metric' if earlier else 'us'}", *more]

    def write(self) -> None:
        """The made field or farm."""
        if self.flow == "rank":
            (self.folder / "creek").mkdir()
            for name, text in farms.sound().items():
                (self.folder / "creek" / name).write_text(text)
        else:
            cases.field(self.folder, "\n".join([cases.HEAD, *cases.log_rows(300)]) + "\n")

    def results(self) -> dict[str, str]:
        """Its files by their contents; without the seconds in run.toml, and what an order of harvest says of the one before."""
        found = {}
        for path in sorted(self.out.iterdir()) if self.out.is_dir() else ():
            content = path.read_bytes()
            if path.name == "run.toml":
                content = content.partition(b"[seconds]")[0]
            if self.flow == "rank" and path.name in ("summary.json", "ranking.html"):
                content = b"whole" if content.rstrip().endswith((b"}", b"</html>")) else b"half"
            found[path.name] = hashlib.sha256(content).hexdigest()
        return found

    def beside(self) -> list[str]:
        """What lies beside the results, hidden or not."""
        return sorted(path.name for path in self.out.parent.iterdir() if path != self.out) if self.out.parent.is_dir() else []


def killed(flow: str, moments: int, rng_seed: int, how: signal.Signals = signal.SIGKILL) -> Tally:
    """End a flow at so many moments; same seed, same moments.

    A signal that a run can answer must leave nothing beside the results, but where it comes
    while they are cleared away.
    """
    chance, tally = random.Random(rng_seed), Tally(f"`{flow}`, {how.name}", moments)
    with tempfile.TemporaryDirectory() as outer:
        run = Run(flow, Path(outer))
        before, after, seconds, touches = _known(run)
        for number in range(moments):
            if number % 2:
                _ended_at(run, how, touch=max(1, round(touches * (1 - chance.random() ** 2))))
            else:
                _ended_at(run, how, seconds=seconds * chance.random())
            found = run.results()
            said = "earlier" if found == before else "new" if found == after else "half" if found else "none"
            tally.left[said] += 1
            if said == "half":
                tally.wrong.append(f"moment {number} left {sorted(set(found.items()) ^ set(before.items()))}")
            if said != "earlier" or number % AGAIN_EACH == AGAIN_EACH - 1 or number == moments - 1:
                tally.reruns += 1
                tally.wrong += _again(run, after, number)
    return tally


def _known(run: Run) -> tuple[dict[str, str], dict[str, str], float, int]:
    """Earlier and later results, with a file of somebody's own beside them; processor time and touches of a whole run."""
    run.write()
    _finished(run, earlier=False)
    after = run.results()
    seconds, touches = _finished(run, earlier=True)
    (run.out / "my notes.txt").write_text("mine")
    before = run.results()
    return before, after | {"my notes.txt": before["my notes.txt"]}, seconds, touches


def _again(run: Run, after: dict[str, str], number: int) -> list[str]:
    """What is wrong once the run is made again and comes to its end; then the earlier results are put back."""
    _finished(run, earlier=False)
    wrong = [] if run.results() == after else [f"moment {number}, made again: {sorted(set(run.results().items()) ^ set(after.items()))}"]
    wrong += [f"moment {number}, made again, left {name}" for name in run.beside()]
    _finished(run, earlier=True)
    return wrong


def places() -> Tally:
    """Kill at every single call by which results take their place, as a folder and as files."""
    from lossmap.pipelines.whole import whole_files, whole_folder

    tally = Tally("results taking their place, SIGKILL at every call")
    for way, has_folders in ((whole_folder, False), (whole_files, False), (whole_files, True)):
        touch, ends = 0, False
        while not ends:
            touch += 1
            with tempfile.TemporaryDirectory() as outer:
                target = Path(outer) / "out" / "creek"
                for name, text in {"a": "old", "b": "old", "mine": "mine"}.items():
                    target.mkdir(parents=True, exist_ok=True)
                    (target / name).write_text(text)
                if has_folders:
                    (target / "field").mkdir()
                code = forked(lambda way=way, target=target, touch=touch: _written(way, target, touch))
                ends = code == 0
                tally.moments += not ends
                found = {path.name: path.read_text() for path in target.iterdir() if path.is_file()} if target.is_dir() else {}
                ours = {name: text for name, text in found.items() if name != "mine"}
                whole = {"earlier": dict.fromkeys("ab", "old"), "new": dict.fromkeys("abc", "new"), "none": {}}
                said = next((said for said, files in whole.items() if ours == files), "half")
                if said == "half" and has_folders and len(set(ours.values())) == 1:
                    said = "some, of one run"
                tally.left[said] += not ends
                if said == "half":
                    tally.wrong.append(f"{way.__name__}, call {touch}: {found}")
                _written(way, target, None)
                tally.reruns += 1
                made = {path.name: path.read_text() for path in target.iterdir() if path.is_file()}
                if made != {"a": "new", "b": "new", "c": "new", "mine": "mine"} or len(list(target.parent.iterdir())) > 1:
                    tally.wrong.append(f"{way.__name__}, call {touch}, made again: {made}, {list(target.parent.iterdir())}")
    return tally


def _written(way: Callable[..., Any], target: Path, touch: int | None) -> int:
    if touch is not None:
        count_touches(str(target.parent), touch, lambda: os.kill(os.getpid(), signal.SIGKILL))
    with way(target) as folder:
        for name in "abc":
            (folder / name).write_text("new")
    return 0


def vanished() -> Tally:
    """Take each file away at every call that touches it: a run that has not read it yet refuses, one that has goes on."""
    tally = Tally("a file vanishes while it is read, every call")
    for flow in ("map", "rank"):
        with tempfile.TemporaryDirectory() as outer:
            run = Run(flow, Path(outer))
            run.write()
            for file in sorted((run.folder / "creek").iterdir()):
                content, touch, reached = file.read_bytes(), 0, True
                while reached:
                    touch += 1
                    said = run.folder / "said"
                    code = forked(lambda run=run, file=file, touch=touch, said=said: _without(run, file, touch, said))
                    reached = not file.exists()
                    file.write_bytes(content)
                    if reached:
                        tally.moments += 1
                        tally.left[f"exit {code}"] += 1
                    if code not in (0, 2, 3) or "Traceback" in said.read_text() or (code and file.name not in said.read_text()):
                        tally.wrong.append(f"{flow}, {file.name}, call {touch}: {code}, {said.read_text()[-300:]}")
                    tally.wrong += [f"{flow}, {file.name}, call {touch}: left {name}" for name in run.beside()]
    return tally


def _without(run: Run, file: Path, touch: int, said: Path) -> int:
    count_touches(str(file), touch, lambda: file.unlink(missing_ok=True))
    return run_command(run.words(earlier=False), said)


def together(times: int) -> Tally:
    """Two runs into one folder at once: both come to their end, and the results are those of one of them, whole."""
    tally = Tally("two runs into one folder at once", times)
    for flow in FLOWS:
        with tempfile.TemporaryDirectory() as outer:
            run = Run(flow, Path(outer))
            before, after, _, _ = _known(run)
            for number in range(times):
                pids = [started(lambda run=run, earlier=earlier: run_command(run.words(earlier))) for earlier in (True, False)]
                codes = [code_of(pid) for pid in pids]
                found = run.results()
                tally.left["earlier" if found == before else "new" if found == after else "half"] += 1
                if codes != [0, 0] or found not in (before, after) or run.beside():
                    tally.wrong.append(
                        f"{flow} {number}: ended with {codes}, left {run.beside()}, {sorted(set(found.items()) ^ set(after.items()))}"
                    )
    tally.moments = tally.left.total()
    return tally


def _finished(run: Run, earlier: bool) -> tuple[float, int]:
    """Let a run come to its end; its seconds of processor time, and how often it touched its results."""
    counts = run.folder / "counts"

    def counted() -> int:
        count = count_touches(str(run.out.parent))
        code = run_command(run.words(earlier))
        counts.write_text(json.dumps([time.process_time(), count[0]]))
        return code

    assert forked(counted) == 0, run.words(earlier)
    seconds, touches = json.loads(counts.read_text())
    return seconds, touches


def _ended_at(run: Run, how: signal.Signals, seconds: float | None = None, touch: int | None = None) -> None:
    """Start the later run and signal it, by its processor time or at the call that touches its results for the nth time."""

    def begun() -> int:
        if touch is not None:
            count_touches(str(run.out.parent), touch, lambda: os.kill(os.getpid(), how))
        return run_command(run.words(earlier=False))

    pid = started(begun)
    if seconds is not None:
        while os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
            if processor_s(pid) >= seconds:
                os.kill(pid, how)
                break
            time.sleep(0.001)
    code_of(pid)


def rows(tallies: Sequence[Tally]) -> list[str]:
    """The table of shared/expected/bad-input.md."""
    lines = ["| what | moments | left | half | made again | not as expected |", "|---|---|---|---|---|---|"]
    for tally in tallies:
        left = ", ".join(f"{name} {count}" for name, count in sorted(tally.left.items()) if name != "half" and count)
        lines.append(f"| {tally.what} | {tally.moments} | {left} | {tally.left.get('half', 0)} | {tally.reruns} | {len(tally.wrong)} |")
    return lines


#: What can be tried, with how many moments.
TRIALS: dict[str, Callable[[int, int], Tally]] = {
    "map": lambda moments, seed: killed("map", moments, seed),
    "stops": lambda moments, seed: killed("stops", moments, seed),
    "rank": lambda moments, seed: killed("rank", moments, seed),
    "map-term": lambda moments, seed: killed("map", moments, seed, signal.SIGTERM),
    "map-int": lambda moments, seed: killed("map", moments, seed, signal.SIGINT),
    "places": lambda moments, seed: places(),
    "vanished": lambda moments, seed: vanished(),
    "together": lambda moments, seed: together(moments),
    "season": lambda moments, seed: faults_season.driver_ended(moments, seed),
    "season-worker": lambda moments, seed: faults_season.worker_killed(moments, seed),
    "season-term": lambda moments, seed: faults_season.driver_ended(moments, seed, signal.SIGTERM),
    "season-int": lambda moments, seed: faults_season.driver_ended(moments, seed, signal.SIGINT),
    "season-together": lambda moments, seed: faults_season.folder_shared(moments),
    "season-vanished": lambda moments, seed: faults_season.things_vanish(),
}
MOMENTS = {"map": 60, "stops": 20, "rank": 20, "map-term": 10, "map-int": 10, "places": 0, "vanished": 0, "together": 5}
MOMENTS |= {"season": 54, "season-worker": 20, "season-term": 10, "season-int": 10, "season-together": 4, "season-vanished": 0}


def main(words: list[str] | None = None) -> int:
    """Try, print, and write the section of the table; 1 if anything was not as it should be."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument(
        "--only", nargs="+", choices=list(TRIALS), metavar="TRIAL", help=f"the table is then left alone; {', '.join(TRIALS)}"
    )
    parser.add_argument("--moments", type=int, help="moments of each trial instead of its own number")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true", help="print the tallies as one line of JSON")
    parser.add_argument("--tallies", nargs="+", type=Path, metavar="FILE", help="write the table from what --json printed, of all trials")
    asked = parser.parse_args(words)
    if asked.tallies:
        return _written_down([Tally(**one) for file in asked.tallies for one in json.loads(file.read_text())])
    if not asked.only:
        return _written_down([_apart(name, asked.moments, asked.seed) for name in TRIALS])
    import lossmap.pipelines.map_field
    import lossmap.pipelines.plan_stops
    import lossmap.pipelines.rank_fields
    import lossmap.pipelines.season  # noqa: F401  loaded before the first fork

    tallies = [TRIALS[name](asked.moments if asked.moments is not None else MOMENTS[name], asked.seed) for name in asked.only]
    print(json.dumps([vars(tally) for tally in tallies]) if asked.json else "\n".join(rows(tallies)))
    print("\n".join(one for tally in tallies for one in tally.wrong), file=sys.stderr)
    return int(any(tally.wrong for tally in tallies))


def _apart(name: str, moments: int | None, seed: int) -> Tally:
    """One trial in a process of its own: those who were killed in the one before may have been its server of processes."""
    words = ["--only", name, "--json", "--seed", str(seed), *(["--moments", str(moments)] if moments is not None else [])]
    done = subprocess.run([sys.executable, __file__, *words], stdout=subprocess.PIPE, text=True, check=False)
    return Tally(**json.loads(done.stdout)[0])


def _written_down(tallies: Sequence[Tally]) -> int:
    from bad_input import write

    write("faults", rows(tallies))
    return int(any(tally.wrong for tally in tallies))


if __name__ == "__main__":
    sys.exit(main())
