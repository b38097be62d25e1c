from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from lossmap.base.errors import SettingsError, WriteError
from lossmap.pipelines.whole import _HOST, apart, sweep, whole_files, whole_folder


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
    dead = tmp_path / f".creek.999999999-{_HOST}.abc"
    (dead / "old").mkdir(parents=True)
    (dead / "old" / "map.html").write_text("old")
    living = tmp_path / f".creek.{os.getpid()}-{_HOST}.abc"
    living.mkdir()
    with pytest.raises(ValueError), whole_folder(tmp_path / "creek"):
        raise ValueError
    assert (tmp_path / "creek" / "map.html").read_text() == "old"
    assert names(tmp_path) == [living.name, "creek"]


def test_files_take_their_own_places_only(tmp_path):
    """A plan lies beside the map that was there, and replaces the earlier plan alone."""
    with whole_folder(tmp_path / "creek") as folder:
        (folder / "map.html").write_text("map")
    for text in ("first", "second"):
        with whole_files(tmp_path / "creek") as folder:
            (folder / "plan.gpx").write_text(text)
            assert not (tmp_path / "creek" / "plan.gpx").exists() or text == "second"
    assert (tmp_path / "creek" / "plan.gpx").read_text() == "second"
    assert (tmp_path / "creek" / "map.html").read_text() == "map"
    assert names(tmp_path) == ["creek"]


def test_files_make_their_folder(tmp_path):
    """Where nothing was before, the folder is made with the files in it."""
    with whole_files(tmp_path / "out" / "creek") as folder:
        (folder / "plan.gpx").write_text("plan")
    assert names(tmp_path / "out" / "creek") == ["plan.gpx"]
    assert names(tmp_path / "out") == ["creek"]


def test_a_whole_folder_keeps_the_files_of_others(tmp_path):
    """A map made after a plan does not lose the plan."""
    with whole_files(tmp_path / "creek") as folder:
        (folder / "plan.gpx").write_text("plan")
    with whole_folder(tmp_path / "creek") as folder:
        (folder / "map.html").write_text("map")
    assert names(tmp_path / "creek") == ["map.html", "plan.gpx"]


@pytest.mark.parametrize("stop", [ValueError, KeyboardInterrupt])
@pytest.mark.parametrize("earlier", [True, False])
def test_half_written_files_never_appear(tmp_path, stop, earlier):
    """An error or Ctrl-C in the middle leaves the earlier files whole, or no folder where there was none."""
    if earlier:
        with whole_files(tmp_path / "creek") as folder:
            (folder / "plan.gpx").write_text("old")
    with pytest.raises(stop), whole_files(tmp_path / "creek") as folder:
        (folder / "plan.gpx").write_text("half")
        raise stop
    assert names(tmp_path) == (["creek"] if earlier else [])
    assert not earlier or (tmp_path / "creek" / "plan.gpx").read_text() == "old"


def test_all_files_or_none(tmp_path):
    """Where one file cannot take its place (a folder stands there), those moved before it are taken back."""
    (tmp_path / "creek" / "plan.gpx").mkdir(parents=True)
    (tmp_path / "creek" / "plan.geojson").write_text("old")
    with pytest.raises(WriteError, match="creek: cannot be written to"), whole_files(tmp_path / "creek") as folder:
        for name in ("a new one", "plan.geojson", "plan.gpx"):
            (folder / name).write_text("new")
    assert names(tmp_path / "creek") == ["plan.geojson", "plan.gpx"]
    assert (tmp_path / "creek" / "plan.geojson").read_text() == "old"
    assert names(tmp_path) == ["creek"]


def test_a_place_for_files_that_cannot_be_written_is_refused(tmp_path):
    """A file where the folder should be is left alone and named."""
    (tmp_path / "creek").write_text("a file")
    with pytest.raises(WriteError, match="is a file, and the results need a folder"), whole_files(tmp_path / "creek"):
        pass
    assert (tmp_path / "creek").read_text() == "a file"


def test_results_keep_apart_from_the_fields_own_files(tmp_path):
    """The field's folder, and any folder above it, is no place for results; one inside or beside it is."""
    own = tmp_path / "farm" / "creek"
    own.mkdir(parents=True)
    for place in (own, own.parent, own / ".." / "creek"):
        with pytest.raises(SettingsError, match="is the field's own folder, and results would replace what is in it; give another --out"):
            apart(own, place)
    apart(own, own / "out" / "creek")
    apart(own, tmp_path / "out" / "creek")


def test_what_another_machine_left_is_its_own_for_a_week(tmp_path):
    """On a shared disk nobody knows whether a process of another machine still works; after a week none does."""
    theirs = tmp_path / ".creek.999999999-01234567.abc"
    theirs.mkdir()
    sweep(tmp_path)
    assert names(tmp_path) == [theirs.name]
    long_ago = theirs.stat().st_mtime - 9 * 86_400
    os.utime(theirs, (long_ago, long_ago))
    sweep(tmp_path)
    assert names(tmp_path) == []


def test_a_sweep_takes_what_is_ours_alone(tmp_path):
    """Of every result in the folder, or of one; hidden folders of others stay, and so does a folder that is not there."""
    for name in (f".creek.999999999-{_HOST}.abc", f".a.b.999999998-{_HOST}.def", ".git", ".creek.notes", ".cache.1.2"):
        (tmp_path / name).mkdir()
    sweep(tmp_path, "creek")
    assert names(tmp_path) == sorted([f".a.b.999999998-{_HOST}.def", ".git", ".creek.notes", ".cache.1.2"])
    sweep(tmp_path)
    assert names(tmp_path) == [".cache.1.2", ".creek.notes", ".git"]
    sweep(tmp_path / "missing")
    assert not (tmp_path / "missing").exists()


def test_a_folder_among_results_is_never_written_over(tmp_path):
    """A folder of somebody's own that bears a result's name is left, and so is everything else."""
    (tmp_path / "creek" / "map.html").mkdir(parents=True)
    (tmp_path / "creek" / "map.html" / "mine").write_text("mine")
    with pytest.raises(WriteError, match="creek: cannot be replaced"), whole_folder(tmp_path / "creek") as folder:
        (folder / "map.html").write_text("new")
    assert (tmp_path / "creek" / "map.html" / "mine").read_text() == "mine"
    assert names(tmp_path) == ["creek"]


def test_files_among_folders_go_one_by_one(tmp_path):
    """A season's overview lies among its fields' folders, which are not moved; a run killed between two files is put back."""
    target, dead = tmp_path / "season", tmp_path / f".season.999999999-{_HOST}.abc"
    (target / "creek").mkdir(parents=True)
    for name in ("season.html", "season.csv"):
        (target / name).write_text("old")
    # one file had taken its place, one not yet
    (dead / "new").mkdir(parents=True)
    (dead / "earlier").mkdir()
    (dead / "names").write_text("season.csv\nseason.html")
    for name in ("season.html", "season.csv"):
        (target / name).rename(dead / "earlier" / name)
    (target / "season.csv").write_text("new")
    (dead / "new" / "season.html").write_text("new")
    sweep(tmp_path)
    assert {path.name: path.read_text() for path in target.iterdir() if path.is_file()} == {"season.html": "old", "season.csv": "old"}
    inode = (target / "creek").stat().st_ino
    with whole_files(target) as folder:
        (folder / "season.csv").write_text("newer")
    assert (target / "creek").stat().st_ino == inode
    assert {path.name: path.read_text() for path in target.iterdir() if path.is_file()} == {"season.html": "old", "season.csv": "newer"}
    assert names(tmp_path) == ["season"]


def test_a_folder_cleared_away_while_files_take_their_places(tmp_path, monkeypatch):
    """A refusal, the earlier files put back, and nothing that the next run stumbles over."""
    target = tmp_path / "season"
    (target / "creek").mkdir(parents=True)
    (target / "season.csv").write_text("old")
    rename = Path.rename

    def cleared(self, place):
        rename(self, place)
        if self.parent == target:
            shutil.rmtree(target)

    with pytest.raises(WriteError, match="season: cannot be written to"), whole_files(target) as folder:
        (folder / "season.csv").write_text("new")
        monkeypatch.setattr(Path, "rename", cleared)
    monkeypatch.undo()
    assert names(tmp_path) == ["season"]
    assert (target / "season.csv").read_text() == "old"
    with whole_files(target) as folder:
        (folder / "season.csv").write_text("new")
    assert names(tmp_path) == ["season"]
