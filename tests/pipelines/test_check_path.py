from __future__ import annotations

import pytest

from lossmap.base.errors import SettingsError
from lossmap.pipelines.check_path import check_path


def test_a_field_is_read_whole_and_nothing_is_written(field_folder):
    """Facts, columns, counts and notes are said; the folder stays as it was."""
    folder = field_folder()
    before = sorted(path.name for path in folder.iterdir())
    found = check_path(folder)
    assert [part["what"] for part in found.parts][:2] == ["creek/field.toml", "creek/points.csv"]
    assert found.faults == []
    assert sorted(path.name for path in folder.iterdir()) == before


def test_what_is_asked_for_is_a_block_to_paste(field_folder):
    """A column without a unit comes as a line of [points.columns]; pasted, it settles the matter."""
    text = "lon,lat,yield (bu/ac),speed\n-93.6,41.9,180,4.5\n"
    found = check_path(field_folder(points=text))
    assert found.asked == ['speed = { column = "speed", unit = "mph" }']
    assert "[points.columns]\n" + found.asked[0] in found.as_text()
    mended = check_path(field_folder(points=text, points_keys="[points.columns]\n" + found.asked[0]))
    assert mended.faults == []


def test_one_file_needs_no_field(field_folder):
    """A log alone is looked at as it is; its yield in bushels is asked for, since no crop is known."""
    found = check_path(field_folder() / "points.csv")
    assert {column["role"] for column in found.parts[0]["columns"]} >= {"longitude", "latitude", "mass_flow", "moisture"}
    assert found.parts[0]["says"] == "3 records, places in columns"


def test_a_fault_in_the_counts_is_found(field_folder):
    """What only the counts have wrong is said too."""
    found = check_path(field_folder(counts="stop,lat,lon,position,seeds,frame_ft2\n1,41.9,-93.6,sideways,3,1\n"))
    assert 'position "sideways" is not known' in found.faults[0]


def test_a_path_to_nothing(tmp_path):
    """A path that leads nowhere is refused."""
    with pytest.raises(SettingsError, match="no such file or folder"):
        check_path(tmp_path / "nowhere.csv")
