"""Runs take turns, and nobody waits for one that is no more."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from lossmap.pipelines import turns
from lossmap.pipelines.turns import alone, in_turn

HOLDS = (
    "import sys, time; from pathlib import Path; from lossmap.pipelines.turns import alone\n"
    "with alone(Path(sys.argv[1]), lambda: None):\n    print('mine', flush=True); time.sleep(60)"
)


def quiet() -> None:
    """Nobody is told."""


def never() -> None:
    """It must not come to waiting."""
    raise AssertionError("waited")


@contextmanager
def holder(target: Path) -> Iterator[subprocess.Popen[str]]:
    """A process that has its turn at `target`, for a minute at most."""
    with subprocess.Popen([sys.executable, "-c", HOLDS, str(target)], stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "mine\n"
        yield program
        program.kill()


def test_one_at_a_time_and_nothing_left(tmp_path: Path) -> None:
    """Four threads that add to a number without care lose none; the file of turns is gone at the end."""
    count = [0]

    def add() -> None:
        for _ in range(5):
            with alone(tmp_path / "farm", quiet):
                before = count[0]
                time.sleep(0.001)
                count[0] = before + 1

    threads = [threading.Thread(target=add) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert count == [20]
    assert list(tmp_path.iterdir()) == []


def test_who_waits_says_so_and_comes_in_when_the_other_is_killed(tmp_path: Path) -> None:
    """A killed one leaves its file, which is no hindrance and goes with the next."""
    said = list[str]()
    with holder(tmp_path / "farm") as program:
        threading.Timer(0.3, program.kill).start()
        with alone(tmp_path / "farm", lambda: said.append("waits")):
            assert program.wait() == -signal.SIGKILL
            assert [path.name for path in tmp_path.iterdir()] == [".farm.turn"]
    assert said == ["waits"]
    assert list(tmp_path.iterdir()) == []
    with alone(tmp_path / "farm", never):
        pass


def test_other_results_need_not_wait(tmp_path: Path) -> None:
    """Beside one another, and turns at names while a run is at work."""
    with alone(tmp_path / "farm", never), alone(tmp_path / "other", never), in_turn(tmp_path):
        pass


def test_who_waits_can_be_stopped(tmp_path: Path) -> None:
    """Ctrl-C while another is at work ends the waiting and nothing else."""

    def told() -> None:
        raise KeyboardInterrupt

    with holder(tmp_path / "farm"):
        with pytest.raises(KeyboardInterrupt), alone(tmp_path / "farm", told):
            pass
        assert (tmp_path / ".farm.turn").exists()


def test_who_is_stopped_at_the_door_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C between the file and its lock."""

    lock, calls = turns.fcntl.flock, list[int]()

    def stopped(place: int, how: int) -> None:
        calls.append(how)
        if len(calls) == 1:
            raise KeyboardInterrupt
        lock(place, how)

    monkeypatch.setattr(turns.fcntl, "flock", stopped)
    with pytest.raises(KeyboardInterrupt), alone(tmp_path / "farm", never):
        pass
    with pytest.raises(KeyboardInterrupt), alone(tmp_path / "farm", never):
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("lack", ["no turns on this system", "none on this disk", "no place to write"])
def test_without_turns_work_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lack: str) -> None:
    """As quickly as can be, and nothing is left."""
    target = tmp_path / "farm"
    if lack == "no turns on this system":
        monkeypatch.setattr(turns, "fcntl", None)
    elif lack == "none on this disk":

        def refused(*_: object) -> None:
            raise OSError(95, "Operation not supported")

        monkeypatch.setattr(turns.fcntl, "flock", refused)
    else:
        target = tmp_path / "missing" / "farm"
    with alone(target, never), in_turn(target.parent):
        pass
    assert list(tmp_path.iterdir()) == []
