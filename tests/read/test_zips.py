from __future__ import annotations

import zipfile

import pytest

from lossmap.base.errors import ReadError
from lossmap.read import zips
from lossmap.read.taskdata.archive import holds_task_data
from lossmap.read.vector import read_places


def zipped(path, members, method=zipfile.ZIP_DEFLATED):
    """A zip of names and contents."""
    with zipfile.ZipFile(path, "w", method) as out:
        for name, content in members.items():
            out.writestr(name, content)
    return path


def test_a_zip_bomb_is_refused_before_it_unpacks(tmp_path):
    """A member of 20 MB of zeros in 20 KB is no log."""
    path = zipped(tmp_path / "bomb.zip", {"TASKDATA.XML": "x", "TLG00001.bin": bytes(20_000_000)})
    with pytest.raises(ReadError, match=r"^bomb: TLG00001\.bin would unpack to [\d,]+ times its size, which no log does; export it again$"):
        holds_task_data(path, "bomb")


def test_stated_sizes_are_summed(tmp_path, monkeypatch):
    """The sum of all members counts, not each alone."""
    monkeypatch.setattr(zips, "MOST_BYTES", 1_000)
    path = zipped(tmp_path / "task.zip", {"TASKDATA.XML": "x" * 400, "a": "x" * 400, "b": "x" * 400})
    with pytest.raises(ReadError, match=r"would unpack to 0\.0 GB, at most 1e-06 GB are read"):
        holds_task_data(path, "td")


def test_too_many_files_are_refused(tmp_path, monkeypatch):
    """More than 20,000 entries are no task data: by count, and by the size of the list before it is read."""
    monkeypatch.setattr(zips, "MOST_ENTRIES", 20)
    members = {"TASKDATA.XML": "x", **{f"f{k}": "" for k in range(20)}}
    path = zipped(tmp_path / "many.zip", members, zipfile.ZIP_STORED)
    folder = tmp_path / "folder"
    folder.mkdir()
    for name, text in members.items():
        (folder / name).write_text(text)
    for place in (path, folder):
        with pytest.raises(ReadError, match="holds more than 20 files; give the folder or zip of the task data alone"):
            holds_task_data(place, "td")
    monkeypatch.setattr(zips, "MOST_DIRECTORY", 100)
    with pytest.raises(ReadError, match="lists more files than task data can have"):
        holds_task_data(path, "td")


def test_a_zipped_shapefile_is_judged_like_task_data(tmp_path):
    """What bursts is refused whichever reader the zip is for."""
    path = zipped(tmp_path / "log.shp.zip", {"log.shp": bytes(20_000_000)})
    with pytest.raises(ReadError, match=r"^made: log\.shp would unpack to [\d,]+ times its size, which no log does; export it again$"):
        read_places(path, "made")
