"""Each core's process comes to grief alone, and none is left behind."""

from __future__ import annotations

import multiprocessing
import threading
import time

import pytest
from planted_griefs import griefs_told, outcomes
from planted_tasks import act

from lossmap.pipelines.workers import worked, workers


def test_on_cores_each_grief_is_its_own():
    """Killed, hung, out of memory, faulty: each is told, and every other task has its result."""
    with workers(2) as crew:
        griefs_told(outcomes(crew))


def test_a_signal_is_named():
    """What killed it, and with which code it left."""
    with workers(1) as crew:
        found = {item: lost.detail for item, lost in worked(crew, act, [("die", 0), ("exit", 3)], 10)}
    assert found == {("die", 0): "SIGKILL", ("exit", 3): "exit code 3"}


def test_a_worker_does_one_task_after_another():
    """Processes stay: as many as cores for any number of tasks, and one thread in each."""
    with workers(2) as crew:
        found = outcomes(crew, [("pid", n) for n in range(12)])
        assert len(set(found.values())) <= 2
        assert outcomes(crew, [("threads", 0)]) == {("threads", 0): 1}


def test_nothing_is_left_when_it_is_broken_off(tmp_path):
    """Ctrl-C in the middle: processes and threads are gone, and what was half written is taken away."""
    before = threading.active_count()
    half = tmp_path / "half"

    def broken_off():
        with workers(2) as crew:
            for _ in worked(crew, act, [("half", str(half)), ("double", 1)], 60):
                while not half.exists():
                    time.sleep(0.01)
                raise KeyboardInterrupt

    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        broken_off()
    assert time.monotonic() - began < 20
    assert not half.exists()
    assert threading.active_count() == before
    assert not [process for process in multiprocessing.active_children() if "pebble" in process.name]
