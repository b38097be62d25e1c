"""Work on Dask is the same work; a cluster that cannot do it is refused."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from clusters import cluster
from planted_griefs import griefs_told, outcomes
from planted_tasks import act

import lossmap
from lossmap.base.errors import SettingsError
from lossmap.pipelines.workers import Lost, worked, workers
from lossmap.pipelines.workers import cluster as module


@pytest.fixture(scope="module")
def made_cluster(tmp_path_factory):
    """Two workers that stay up for the tests of this file."""
    with cluster(tmp_path_factory.mktemp("cluster")) as made:
        yield made


def test_on_a_cluster_each_grief_is_its_own(made_cluster, tmp_path):
    """The same on Dask, whose workers outlive what they were given."""
    with workers(cluster=made_cluster.address, sees=tmp_path) as crew:
        griefs_told(outcomes(crew))
        assert all(worker.poll() is None for worker in made_cluster.workers)


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
    said = module._unfit(ModuleNotFoundError("No module named 'lossmap'"), Path())
    assert said == "cannot load lossmap (ModuleNotFoundError: No module named 'lossmap'); pip install 'lossmap[cluster]' there"
