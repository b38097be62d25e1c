from __future__ import annotations

import os

import pytest

from lossmap.base.errors import WriteError
from lossmap.pipelines.whole import whole_folder


def names(folder):
    """What lies in a folder, hidden files too."""
    return sorted(path.name for path in folder.iterdir())


def test_a_whole_result_takes_the_place(tmp_path):
    """What was written appears under its name, and nothing else is left beside it."""
    with whole_folder(tmp_path / "out" / "creek") as folder:
        (folder / "map.html").write_text("new")
        assert not (tmp_path / "out" / "creek").exists()
    assert (tmp_path / "out" / "creek" / "map.html").read_text() == "new"
    assert names(tmp_path / "out") == ["creek"]


@pytest.mark.parametrize("stop", [ValueError, KeyboardInterrupt])
def test_a_failed_run_leaves_the_earlier_result(tmp_path, stop):
    """An error or Ctrl-C in the middle leaves what stood there, whole."""
    with whole_folder(tmp_path / "creek") as folder:
        (folder / "map.html").write_text("old")
    with pytest.raises(stop), whole_folder(tmp_path / "creek") as folder:
        (folder / "map.html").write_text("half")
        raise stop
    assert (tmp_path / "creek" / "map.html").read_text() == "old"
    assert names(tmp_path) == ["creek"]


def test_somebodys_own_files_move_along(tmp_path):
    """A note the user put among the results is kept; a result of the earlier run is replaced."""
    with whole_folder(tmp_path / "creek") as folder:
        (folder / "map.html").write_text("old")
    (tmp_path / "creek" / "my notes.txt").write_text("mine")
    with whole_folder(tmp_path / "creek") as folder:
        (folder / "map.html").write_text("new")
    assert (tmp_path / "creek" / "my notes.txt").read_text() == "mine"
    assert (tmp_path / "creek" / "map.html").read_text() == "new"


def test_a_place_that_cannot_be_written_is_refused(tmp_path):
    """A file where a folder is needed is left alone and named."""
    (tmp_path / "creek").write_text("a file")
    with pytest.raises(WriteError, match="is a file, and the results need a folder"), whole_folder(tmp_path / "creek"):
        pass
    assert (tmp_path / "creek").read_text() == "a file"
    with pytest.raises(WriteError, match="cannot be written to"), whole_folder(tmp_path / "creek" / "inside"):
        pass


def test_what_a_killed_run_left_is_cleared_and_its_catch_put_back(tmp_path):
    """A dead run's leftovers go; if it died between the two renames the earlier result returns first. A living run's stay."""
    dead = tmp_path / ".creek.999999999.abc"
    (dead / "old").mkdir(parents=True)
    (dead / "old" / "map.html").write_text("old")
    living = tmp_path / f".creek.{os.getpid()}.abc"
    living.mkdir()
    with pytest.raises(ValueError), whole_folder(tmp_path / "creek"):
        raise ValueError
    assert (tmp_path / "creek" / "map.html").read_text() == "old"
    assert names(tmp_path) == [living.name, "creek"]
