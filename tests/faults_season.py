"""Seasons that are ended from outside, one of whose workers is killed, or that meet another run in their folder.

A season of three small fields on two cores, its fields mapped by processes of their own. The
earlier and the later asking differ in a setting that shows in every page, so that what is
left tells whose it is: each field's results and the season's own files, by themselves.
"""

from __future__ import annotations

import json
import multiprocessing.forkserver
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import types
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from endings import Tally, code_of, count_touches, forked, run_command, started
from season_left import FIELDS, MINE, Known, Season, disagreeing

from corpus import cases

__all__ = ["driver_ended", "folder_shared", "things_vanish", "worker_killed"]

#: Every so manyth run finds no earlier results; every so manyth is waited for with its workers, the others are not.
BARE_EACH, WAIT_EACH = 4, 2
#: Workers of a driver that is no more end within this [s].
LAST_S = 60.0
#: Those of one that ended as it was asked to are gone with it, and the system has noticed, within this [s].
ANSWER_S = 3.0
#: Folders vanish at every so manyth call that touches what is in them.
STEP = 7
_COUNTED: list[list[int]] = []


def driver_ended(moments: int, rng_seed: int, how: signal.Signals = signal.SIGKILL) -> Tally:
    """End the season's driver at so many moments, and run it again, half of the time before its workers have noticed."""
    chance, tally = random.Random(rng_seed), Tally(f"`season`, driver, {how.name}", moments)
    with tempfile.TemporaryDirectory() as outer:
        known = _prepared(Path(outer))
        for number in range(moments):
            known.put_back(bare := number % BARE_EACH == BARE_EACH - 1)
            code = _begun(known, chance, number, how)()
            wrong = [] if code in (0, -how if how == signal.SIGKILL else 130) else [f"ended with {code}"]
            if how != signal.SIGKILL:
                # the file of turns is left where the signal comes as it is taken away: the next run takes it
                wrong += [f"{name} is left" for name in known.season.beside() if not name.endswith(".turn")]
                wrong += _wait_for_workers(ANSWER_S)
            wrong += _wait_for_workers() if number % WAIT_EACH == 0 else []
            states, half = known.states()
            tally.left.update(states.values())
            wrong += half + (["earlier results come from nowhere"] if bare and "earlier" in states.values() else [])
            wrong += _again(known, tally)
            tally.wrong += [f"{how.name}, moment {number}: {one}" for one in wrong]
    return tally


def worker_killed(moments: int, rng_seed: int) -> Tally:
    """Kill one of the workers at so many moments: the season ends well all the same."""
    chance, tally = random.Random(rng_seed), Tally("`season`, one worker, SIGKILL", moments)
    with tempfile.TemporaryDirectory() as outer:
        known = _prepared(Path(outer))
        season, spent = known.season, Path(outer) / "spent"
        for number in range(moments):
            known.put_back(number % BARE_EACH == BARE_EACH - 1)
            spent.unlink(missing_ok=True)
            touch = 1 + int(chance.random() * known.touches_of_field * len(FIELDS) / 2)
            ending = Ending(str(season.out.parent), touch, str(spent)) if number % 2 else None
            log = season.folder / "log"
            pid = started(lambda ending=ending, log=log: _main(season.words(earlier=False), ending, log))
            if ending is None:
                _kill_one(known.seconds * chance.random(), chance)
            code = code_of(pid)
            states, wrong = known.states()
            tally.left.update(states.values())
            if code or set(states.values()) != {"new"}:
                wrong.append(f"ended with {code}, left {states}, said {log.read_text()[-300:]}")
            wrong += _wait_for_workers() + [f"{name} is left" for name in season.beside()] + disagreeing(season.out)
            wrong += _again(known, tally)
            tally.wrong += [f"worker, moment {number}: {one}" for one in wrong]
    return tally


def _kill_one(seconds: float, chance: random.Random) -> None:
    time.sleep(seconds)
    if at_work := _workers():
        with suppress(ProcessLookupError):
            os.kill(chance.choice(at_work), signal.SIGKILL)


def _again(known: Known, tally: Tally) -> list[str]:
    """What is wrong once the run has been made again and come to its end."""
    tally.reruns += 1
    log = known.season.folder / "log"
    code = forked(lambda: _main(known.season.words(earlier=False), None, log))
    wrong = [] if code == 0 else [f"made again, ended with {code}: {log.read_text()[-300:]}"]
    wrong += _wait_for_workers()
    states, half = known.states()
    if set(states.values()) != {"new"}:
        wrong.append(f"made again: {states}")
    wrong += [f"made again: {one}" for one in half]
    wrong += [f"made again: {name} is of another run" for name in disagreeing(known.season.out)]
    return wrong + [f"made again: {name} is left" for name in known.season.beside()]


def folder_shared(times: int) -> Tally:
    """Two seasons, and a season and a map of one of its fields, in one folder at once: all end well, and results are whole."""
    tally = Tally("two seasons, a season and a `map`, into one folder at once", 2 * times)
    with tempfile.TemporaryDirectory() as outer:
        known = _prepared(Path(outer))
        season = known.season
        field, out = season.folder / "farm" / FIELDS[1], (season.out / FIELDS[1]).parent
        of_one = ["map", str(field), "--out", str(out), "-q", "--set", "report.units=metric"]
        for number in range(2 * times):
            known.put_back(bare=number % 4 == 3)
            other = season.words(earlier=True) if number % 2 else of_one
            pids = [started(lambda words=words: _main(words)) for words in (season.words(earlier=False), other)]
            codes = [code_of(pid) for pid in pids]
            states, wrong = known.states()
            tally.left.update(states.values())
            whole = len({states[name] for name in states if number % 2 or name != FIELDS[1]}) == 1
            if codes != [0, 0] or not whole or "none" in states.values():
                wrong.append(f"ended with {codes}, left {states}")
            wrong += [f"{name} is left" for name in season.beside()] + disagreeing(season.out)
            tally.wrong += [f"together {number}: {one}" for one in wrong + _again(known, tally)]
    return tally


def things_vanish() -> Tally:
    """Take a field's file away at every call that touches it, its folder, its results and all results at many, in a season of two fields.

    What has not been read yet is a row or a refusal, one message a field and one of all that says where; the other field is mapped.
    """
    tally = Tally("`season`, a file of a field vanishes, every call; a field or results, every seventh")
    with tempfile.TemporaryDirectory() as outer:
        season = Season(Path(outer))
        _plant(season, FIELDS[:2])
        one, results = season.folder / "farm" / FIELDS[0], season.out / FIELDS[0]
        assert forked(lambda: run_command(season.words(earlier=True))) == 0
        shutil.copytree(season.folder / "farm", season.folder / "sound")
        shutil.copytree(season.out.parent, season.folder / "kept")
        for goes in (*sorted(one.iterdir()), one, results, season.out):
            touch, reached = 0, True
            while reached:
                touch += 1 if goes.is_file() else STEP
                for place, kept in ((season.folder / "farm", "sound"), (season.out.parent, "kept")):
                    shutil.rmtree(place)
                    shutil.copytree(season.folder / kept, place)
                reached = _one_goes(season, goes, touch, tally)
    return tally


def _one_goes(season: Season, goes: Path, touch: int, tally: Tally) -> bool:
    """Whether it came to that call; what is wrong goes to the tally."""
    log, mark = season.folder / "log", season.folder / "mark"
    mark.unlink(missing_ok=True)

    def go() -> None:
        mark.touch()
        shutil.rmtree(goes, ignore_errors=True) if goes.is_dir() else goes.unlink(missing_ok=True)

    def run() -> int:
        count_touches(str(goes), touch, go)
        words = season.words(earlier=False)
        words[words.index("--cores") + 1] = "0"
        return run_command(words, log)

    code, said = forked(run), log.read_text()
    if not mark.exists():
        return False
    tally.moments += 1
    tally.left[f"exit {code}"] += 1
    of_inputs = goes.is_relative_to(season.folder / "farm")
    where = f"{goes.relative_to(season.folder)}, call {touch}: exit {code}"
    if code not in ((0, 4) if of_inputs else (0, 2, 3, 4)) or "Traceback" in said or len(said.splitlines()) > 3:
        tally.wrong.append(f"{where}, said {said[-400:]}")
    if code and goes.name not in said and FIELDS[0] not in said:
        tally.wrong.append(f"{where}, does not say where: {said[-400:]}")
    if of_inputs and not (season.out / FIELDS[1] / "run.toml").is_file():
        tally.wrong.append(f"{where}, the other field has no map")
    tally.wrong += [f"{where}, left {name}" for name in season.beside()]
    tally.wrong += [f"{where}, {name} is of another run" for name in disagreeing(season.out)]
    return True


# --- the season and both of its results -----------------------------------------------------------


def _prepared(folder: Path) -> Known:
    """Both results made, the earlier ones kept."""
    _serve()
    season = Season(folder)
    _plant(season, FIELDS)
    counts = folder / "counts"

    def counted() -> int:
        count, began = count_touches(str(season.out.parent)), time.monotonic()
        code = _main(season.words(earlier=True))
        counts.write_text(json.dumps([time.monotonic() - began, count[0]]))
        return code

    assert forked(lambda: _main(season.words(earlier=False))) == 0
    later = season.results()
    assert forked(counted) == 0
    seconds, touches = json.loads(counts.read_text())
    for place in (season.out, season.out / FIELDS[1]):
        (place / MINE).write_text("mine")
    known = Known(season, season.results(), later, seconds, touches, _touches_of_field(folder))
    shutil.copytree(season.out.parent, known.kept)
    return known


def _plant(season: Season, field_ids: Sequence[str]) -> None:
    for field_id in field_ids:
        place = (season.folder / "farm" / field_id).parent
        place.mkdir(parents=True)
        cases.field(place, "\n".join([cases.HEAD, *cases.log_rows()]) + "\n")


def _touches_of_field(folder: Path) -> int:
    from lossmap.base.settings import Settings
    from lossmap.pipelines.season_field import Job, field_row

    count = folder / "count"

    def counted() -> int:
        touched = count_touches(str(folder / "one"))
        field_row(Job(FIELDS[1], folder / "farm" / FIELDS[1], folder / "one" / "creek", Settings()))
        count.write_text(str(touched[0]))
        return 0

    assert forked(counted) == 0
    return int(count.read_text())


# --- processes ------------------------------------------------------------------------------------


def _serve() -> None:
    """Begin the process that every worker is a copy of, once for all runs: what it loads takes longer than a season of such fields."""
    server = multiprocessing.forkserver._forkserver  # type: ignore[attr-defined]
    if server._forkserver_pid is None:
        server.set_forkserver_preload(["lossmap.pipelines.season_field", "faults_season"])
        # else every worker would load the program that was started
        sys.modules["__main__"] = types.ModuleType("__main__")
        server.ensure_running()


def _workers() -> list[int]:
    """Who is at work, or was and nobody has asked for its end yet."""
    pid = multiprocessing.forkserver._forkserver._forkserver_pid  # type: ignore[attr-defined]
    return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def _wait_for_workers(seconds: float = LAST_S) -> list[str]:
    until = time.monotonic() + seconds
    while left := _workers():
        if time.monotonic() > until:
            return [f"workers {left} are there {seconds:.0f} s after the end of their driver"]
        time.sleep(0.02)
    return []


def _main(words: list[str], ending: Ending | None = None, log: Path = Path(os.devnull)) -> int:
    """The command in a process that was forked: it is not the parent of the server, and must not wait for it."""
    from lossmap.pipelines import season

    multiprocessing.forkserver._forkserver.ensure_running = lambda: None  # type: ignore[attr-defined]
    if ending is not None:
        season.field_row = ending  # type: ignore[assignment]
    return run_command(words, log)


@dataclass(frozen=True)
class Ending:
    """`field_row` that ends its own process, or its driver, at the nth call by which a worker touches results; once in a run."""

    place: str
    touch: int
    spent: str
    driver: int = 0

    def __call__(self, job: Any) -> Any:
        """The field's row."""
        from lossmap.pipelines.season_field import field_row

        if not _COUNTED:
            _COUNTED.append(count_touches(self.place, self.touch, self._end))
        return field_row(job)

    def _end(self) -> None:
        try:
            os.close(os.open(self.spent, os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            return
        os.kill(self.driver or os.getpid(), signal.SIGKILL)


def _begun(known: Known, chance: random.Random, number: int, how: signal.Signals) -> Callable[[], int]:
    """A run to be ended by the clock, at a touch of its own, or at a touch of a worker, in turn; gives its exit code."""
    season, way = known.season, number % 3 if how == signal.SIGKILL else number % 2
    place, spent = str(season.out.parent), season.folder / "spent"
    spent.unlink(missing_ok=True)
    share = chance.random()

    def run() -> int:
        if way == 1:
            count_touches(place, max(1, round(known.touches * (1 - share**2))), lambda: os.kill(os.getpid(), how))
        touch = 1 + int(share * known.touches_of_field * len(FIELDS) / 2)
        return _main(season.words(earlier=False), Ending(place, touch, str(spent), os.getpid()) if way == 2 else None)

    pid = started(run)
    if way == 0:
        _signal_after(pid, known.seconds * share, how)
    return lambda: code_of(pid)


def _signal_after(pid: int, seconds: float, how: signal.Signals) -> None:
    until = time.monotonic() + seconds
    while os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
        if time.monotonic() >= until:
            os.kill(pid, how)
            return
        time.sleep(0.005)
