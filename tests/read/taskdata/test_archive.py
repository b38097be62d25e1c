from __future__ import annotations

import shutil
import zipfile

import pytest

from lossmap.base.errors import ReadError
from lossmap.read.taskdata.archive import holds_task_data, opened


def names_in(path):
    """The names an archive offers."""
    with opened(path, "td") as archive:
        return archive.names


def zipped(path, members, method=zipfile.ZIP_DEFLATED):
    """A zip of names and contents."""
    with zipfile.ZipFile(path, "w", method) as out:
        for name, content in members.items():
            out.writestr(name, content)
    return path


@pytest.mark.parametrize(
    "name", ["TASKDATA.XML", "taskdata.xml", "TaskData.Xml", "TASKDATA/TASKDATA.XML", "export 7/TaskData/taskdata.xml"]
)
def test_it_is_found_in_any_letter_case_and_folder(tmp_path, name):
    """In a folder and in a zip, at the top or below, TASKDATA.XML and what lies beside it are found."""
    folder = tmp_path / "folder"
    beside = name.rpartition("/")[0]
    (folder / beside).mkdir(parents=True)
    (folder / name).write_text("x")
    (folder / beside / "Tlg00001.BIN").write_bytes(b"12345")
    zip_file = zipped(tmp_path / "task.zip", {name: "x", f"{beside}/Tlg00001.BIN".lstrip("/"): b"12345"})
    for path in (folder, zip_file):
        assert holds_task_data(path, "td")
        assert names_in(path) == ("taskdata.xml", "tlg00001.bin")
        with opened(path, "td") as archive:
            assert archive.read("TLG00001.bin", 10) == b"12345"
            assert archive.place("tlg00001.BIN") == "td/Tlg00001.BIN"


def test_the_one_nearest_the_top_counts(tmp_path):
    """A copy further down does not hide the folder's own; two at one depth are asked for."""
    (tmp_path / "backup").mkdir()
    (tmp_path / "TASKDATA.XML").write_text("top")
    (tmp_path / "backup" / "TASKDATA.XML").write_text("below")
    with opened(tmp_path, "td") as archive:
        assert archive.read("taskdata.xml", 10) == b"top"
    (tmp_path / "TASKDATA.XML").rename(tmp_path / "backup" / "other.xml")
    (tmp_path / "second").mkdir()
    shutil.copy(tmp_path / "backup" / "TASKDATA.XML", tmp_path / "second")
    with pytest.raises(ReadError) as refused, opened(tmp_path, "td"):
        pass
    assert str(refused.value) == "td: holds TASKDATA.XML in 2 folders (backup, second); name one of them as path"


def test_names_that_lead_out_are_no_files(tmp_path):
    """Members named to escape, absolute ones and those systems add for themselves are never offered, nor written anywhere."""
    bad = ["../TASKDATA.XML", "/TASKDATA.XML", "C:/TASKDATA.XML", "..\\TASKDATA.XML", "__MACOSX/._TASKDATA.XML", "a/../../TASKDATA.XML"]
    path = zipped(tmp_path / "task.zip", dict.fromkeys(bad, "x"))
    before = sorted(tmp_path.rglob("*"))
    assert not holds_task_data(path, "td")
    with pytest.raises(ReadError, match=r"^td: holds no TASKDATA\.XML; give the folder or zip that does"), opened(path, "td"):
        pass
    good = zipped(tmp_path / "mixed.zip", {**dict.fromkeys(bad, "bad"), "TASKDATA.XML": "good", "../TLG00001.bin": "x"})
    with opened(good, "td") as archive:
        assert archive.names == ("taskdata.xml",)
        assert archive.read("TASKDATA.XML", 10) == b"good"
        with pytest.raises(ReadError, match=r"holds no \.\./TLG00001\.bin"):
            archive.read("../TLG00001.bin", 10)
    assert sorted(tmp_path.rglob("*")) == sorted([*before, good])


def test_backslashes_part_folders(tmp_path):
    """A zip written with backslashes is read as any other."""
    assert names_in(zipped(tmp_path / "task.zip", {"TASKDATA\\TASKDATA.XML": "x", "TASKDATA\\TLG00001.BIN": "x"})) == (
        "taskdata.xml",
        "tlg00001.bin",
    )


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    """A file that is a link to somewhere else is not followed."""
    (tmp_path / "secret.txt").write_text("secret")
    folder = tmp_path / "td"
    folder.mkdir()
    (folder / "TASKDATA.XML").symlink_to(tmp_path / "secret.txt")
    with (
        opened(folder, "td") as archive,
        pytest.raises(ReadError, match=r"^td/TASKDATA\.XML: is a link out of the folder; copy the file itself$"),
    ):
        archive.read("TASKDATA.XML", 100)


def test_two_names_that_differ_in_case_are_asked_for(tmp_path):
    """Which of two is meant is not guessed."""
    path = zipped(tmp_path / "task.zip", {"TASKDATA.XML": "x", "TLG00001.bin": "1", "TLG00001.BIN": "2"})
    with opened(path, "td") as archive, pytest.raises(ReadError, match=r"holds 2 files named TLG00001\.bin but for the letter case"):
        archive.read("TLG00001.bin", 10)


def test_a_member_larger_than_asked_for_is_refused(tmp_path):
    """The limit of a kind of file holds whatever the zip states."""
    with opened(zipped(tmp_path / "task.zip", {"TASKDATA.XML": "x" * 50}), "td") as archive:
        assert len(archive.read("TASKDATA.XML", 50)) == 50
        with pytest.raises(ReadError, match=r"^td/TASKDATA\.XML: is larger than 0 MB"):
            archive.read("TASKDATA.XML", 49)


def test_the_file_itself_is_no_path(tmp_path):
    """TASKDATA.XML named instead of its folder: the folder is asked for."""
    (tmp_path / "TaskData.xml").write_text("x")
    with pytest.raises(ReadError, match=r"^creek/TaskData.xml: is one of several files of task data; give the folder it lies in as path$"):
        holds_task_data(tmp_path / "TaskData.xml", "creek/TaskData.xml")


def test_damaged_and_foreign_zips(tmp_path):
    """A file that is no zip, and a zip without TASKDATA.XML, are not taken for task data; a damaged member is named."""
    (tmp_path / "no.zip").write_bytes(b"PK\x03\x04 broken")
    assert not holds_task_data(tmp_path / "no.zip", "td")
    assert not holds_task_data(zipped(tmp_path / "shape.zip", {"a.shp": "x"}), "td")
    (tmp_path / "text.csv").write_text("a,b")
    assert not holds_task_data(tmp_path / "text.csv", "td")
    path = zipped(tmp_path / "task.zip", {"TASKDATA.XML": "x" * 1000})
    content = bytearray(path.read_bytes())
    content[45:50] = b"\xff" * 5
    path.write_bytes(bytes(content))
    with opened(path, "td") as archive, pytest.raises(ReadError, match=r"^td/TASKDATA\.XML: cannot be unpacked"):
        archive.read("TASKDATA.XML", 2000)
