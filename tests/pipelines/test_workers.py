"""Work is done here, on cores and on a cluster alike, and what comes to grief takes nothing with it."""

from __future__ import annotations

import itertools
import multiprocessing
import sys
import threading
import time

import pytest
from clusters import cluster
from planted_tasks import act

import lossmap
from lossmap.base.errors import SettingsError
from lossmap.pipelines import workers as module
from lossmap.pipelines.workers import Lost, worked, workers

GRIEF = [("double", 1), ("die", 0), ("double", 2), ("sleep", 30), ("starve", 0), ("slip", 0), ("exit", 3), ("double", 3)]


def outcomes(crew, items=GRIEF, limit_s=1.0):
    """What became of each item; a loss by its reason."""
    return {item: found.why if isinstance(found, Lost) else found for item, found in worked(crew, act, items, limit_s)}


@pytest.fixture(scope="module")
def made_cluster(tmp_path_factory):
    """Two workers that stay up for the tests of this file."""
    with cluster(tmp_path_factory.mktemp("cluster")) as made:
        yield made


def griefs_told(found):
    """The planted outcomes, each by its own name."""
    assert found == {
        ("double", 1): 2,
        ("die", 0): "killed",
        ("double", 2): 4,
        ("sleep", 30): "limit",
        ("starve", 0): "memory",
        ("slip", 0): "fault",
        ("exit", 3): "killed",
        ("double", 3): 6,
    }


def test_on_cores_each_grief_is_its_own():
    """Killed, hung, out of memory, faulty: each is told, and every other task has its result."""
    with workers(2) as crew:
        griefs_told(outcomes(crew))


def test_on_a_cluster_each_grief_is_its_own(made_cluster, tmp_path):
    """The same on Dask, whose workers outlive what they were given."""
    with workers(cluster=made_cluster.address, sees=tmp_path) as crew:
        griefs_told(outcomes(crew))
        assert all(worker.poll() is None for worker in made_cluster.workers)


def test_in_this_process():
    """No process and no limit: results in order, faults and lack of memory told."""
    with workers(0) as crew:
        found = outcomes(crew, [("double", 1), ("starve", 0), ("slip", 0), ("double", 2)])
    assert found == {("double", 1): 2, ("starve", 0): "memory", ("slip", 0): "fault", ("double", 2): 4}


def test_a_fault_says_where():
    """The program's own words and the place in it come along."""
    with workers(1) as crew:
        [(_, lost)] = worked(crew, act, [("slip", 0)], 10)
    assert lost.detail == "KeyError: 'planted'"
    assert "planted_tasks.py" in lost.trace


def test_a_signal_is_named():
    """What killed it, and with which code it left."""
    with workers(1) as crew:
        found = {item: lost.detail for item, lost in worked(crew, act, [("die", 0), ("exit", 3)], 10)}
    assert found == {("die", 0): "SIGKILL", ("exit", 3): "exit code 3"}


def test_items_are_taken_as_work_gets_on():
    """From a source without end, never more than the crew can have in hand."""
    taken = []

    def numbers():
        for n in itertools.count():
            taken.append(n)
            yield ("double", n)

    with workers(2) as crew:
        running = worked(crew, act, numbers(), 10)
        for done in range(1, 30):
            next(running)
            assert len(taken) <= done + 2


def test_alone_is_one_at_a_time():
    """Nothing else is in hand beside it."""
    taken = []

    def numbers():
        for n in range(5):
            taken.append(n)
            yield ("double", n)

    with workers(2) as crew:
        for done, _ in enumerate(worked(crew, act, numbers(), 10, alone=True), 1):
            assert len(taken) == done


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


def test_a_worker_of_the_cluster_that_dies_loses_nothing(tmp_path):
    """Its machine gone, others do its work."""
    with cluster(tmp_path) as made, workers(cluster=made.address, sees=tmp_path) as crew:
        found = {}
        for item, result in worked(crew, act, [("sleep", 0.02 * n) for n in range(1, 21)], 30):
            found[item] = result
            if len(found) == 4:
                made.workers[0].kill()
        assert list(found.values()) == [None] * 20


def test_a_scheduler_that_dies_is_said(tmp_path):
    """Neither a hang nor a row for each field: one refusal with what to do."""
    with (
        cluster(tmp_path) as made,
        pytest.raises(SettingsError, match="the scheduler is gone; start it again"),
        workers(cluster=made.address, sees=tmp_path) as crew,
    ):
        for done, _ in enumerate(worked(crew, act, [("sleep", 0.05)] * 60, 30)):
            if done == 4:
                made.scheduler.kill()


def test_a_cluster_that_cannot_do_the_work_is_refused(tmp_path, monkeypatch):
    """Workers under a nanny may start no processes; a folder that they do not see; no answer; no workers."""
    with (
        cluster(tmp_path, 1, "--nanny") as made,
        pytest.raises(SettingsError, match="start it with --no-nanny"),
        workers(cluster=made.address),
    ):
        pass
    monkeypatch.setattr(module, "_ANSWER_S", 1.0)
    with pytest.raises(SettingsError, match="no Dask scheduler answers there"), workers(cluster="tcp://127.0.0.1:9"):
        pass
    with pytest.raises(SettingsError, match="no Dask scheduler answers there"), workers(cluster="nonsense://x"):
        pass


def test_a_cluster_of_another_version_or_without_the_folder_is_refused(made_cluster, tmp_path, monkeypatch):
    """Each worker that is unfit, and why."""
    refused = pytest.raises(SettingsError, match="does not see .*missing; fields and results must lie on storage")
    with refused, workers(cluster=made_cluster.address, sees=tmp_path / "missing"):
        pass
    ours = lossmap.__version__
    monkeypatch.setattr(lossmap, "__version__", "9.9.9")
    with pytest.raises(SettingsError) as refusal, workers(cluster=made_cluster.address, sees=tmp_path):
        pass
    lines = str(refusal.value).splitlines()
    assert len(lines) == 2
    assert all(f"has lossmap {ours}, this machine 9.9.9; install the same on both" in line for line in lines)


def test_a_cluster_without_workers_is_refused(tmp_path, monkeypatch):
    """After a while."""
    monkeypatch.setattr(module, "_ANSWER_S", 2.0)
    refused = pytest.raises(SettingsError, match="has no workers; start some with dask worker tcp://")
    with cluster(tmp_path, 0) as made, refused, workers(cluster=made.address):
        pass


def test_without_dask_it_is_said_what_to_install(monkeypatch):
    """The extra has a name."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SettingsError, match=r"pip install 'lossmap\[cluster\]'"), workers(cluster="tcp://127.0.0.1:9"):
        pass


def test_a_worker_that_comes_later_with_another_version_does_no_work():
    """Its row says so."""
    assert module._in_worker("9.9.9", b"", (), 1.0) == Lost("fault", f"a worker has lossmap {lossmap.__version__}, not 9.9.9")


def test_a_worker_that_cannot_load_lossmap_is_named():
    """Its own words, shortened, and the remedy."""
    said = module._unfit(ModuleNotFoundError("No module named 'lossmap'"), module.Path())
    assert said == "cannot load lossmap (ModuleNotFoundError: No module named 'lossmap'); pip install 'lossmap[cluster]' there"
