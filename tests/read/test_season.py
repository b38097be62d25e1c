"""Fields are found wherever they lie."""

from __future__ import annotations

import pathlib

import pytest

from lossmap.base.errors import SettingsError
from lossmap.read import field_folders


def field(folder, *more):
    """An empty field's folder with other files in it."""
    folder.mkdir(parents=True)
    for name in ("field.toml", *more):
        (folder / name).touch()


def test_fields_are_found_at_any_depth(tmp_path):
    """By their paths, in order; a folder without facts is none."""
    for place in ("b", "a/deep/down", "a/shallow"):
        field(tmp_path / place)
    (tmp_path / "c").mkdir()
    assert list(field_folders(tmp_path)) == ["a/deep/down", "a/shallow", "b"]
    assert field_folders(tmp_path)["b"] == tmp_path / "b"


def test_a_closed_folder_is_no_crash_and_not_passed_over(tmp_path, monkeypatch):
    """What nobody may look into is listed, so that its row can say why; root sees everything, so the system's no is played."""
    field(tmp_path / "b")
    (tmp_path / "closed").mkdir()
    (tmp_path / "unseen").mkdir()
    real = pathlib.Path.stat

    def stat(self, **more):
        if "closed" in self.parts[:-1] or self.name == "unseen" or "unseen" in self.parts:
            raise PermissionError(13, "Permission denied", str(self))
        return real(self, **more)

    monkeypatch.setattr(pathlib.Path, "stat", stat)
    assert list(field_folders(tmp_path)) == ["b", "closed", "unseen"]
    with pytest.raises(SettingsError, match="cannot be looked at"):
        field_folders(tmp_path / "closed")


def test_links_are_followed_once(tmp_path):
    """A link to a field elsewhere is one; a loop ends; a second way to a field is no second field."""
    field(tmp_path / "elsewhere" / "creek")
    (tmp_path / "farm" / "north").mkdir(parents=True)
    (tmp_path / "farm" / "creek").symlink_to(tmp_path / "elsewhere" / "creek")
    (tmp_path / "farm" / "loop").symlink_to(tmp_path / "farm")
    (tmp_path / "farm" / "north" / "again").symlink_to(tmp_path / "elsewhere" / "creek")
    (tmp_path / "farm" / "broken").symlink_to(tmp_path / "nowhere")
    assert list(field_folders(tmp_path / "farm")) == ["creek"]


def test_results_hidden_folders_and_those_left_out_are_not_searched(tmp_path):
    """Nor what lies below them; a field's own folder is."""
    for place in ("creek", "creek/inner", ".hidden/field", "out/field", "mapped/field"):
        field(tmp_path / place)
    (tmp_path / "mapped" / "run.toml").touch()
    (tmp_path / "mapped" / "summary.json").touch()
    assert list(field_folders(tmp_path, leave=(tmp_path / "out", tmp_path / "missing"))) == ["creek", "creek/inner"]


def test_a_folder_itself_may_be_one(tmp_path):
    """Its path is a dot."""
    field(tmp_path / "creek")
    assert list(field_folders(tmp_path / "creek")) == ["."]
