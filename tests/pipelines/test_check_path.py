from __future__ import annotations

import json

import pytest
from read.taskdata.conftest import Made

from lossmap.base.errors import SettingsError
from lossmap.pipelines.check_path import check_path

FACTS = 'name = "Made creek"\ncrop = "corn"\nheader_width = "30 ft"\n'
POINTS_CSV = "longitude,latitude,Mass flow (lb/s),Moisture (%),Speed (mph),interval (s)\n" + "-93.6,41.9000{},30,17,5,1\n" * 3
POINTS_CSV = POINTS_CSV.format(0, 2, 4)


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


def test_a_log_in_another_language_gets_every_line_at_once(field_folder):
    """What a map wants and nobody found comes as lines to fill in; filled in, nothing is open."""
    text = "Zeit;Breite;Laenge;Durchsatz (t/h);Feuchte;Tempo (km/h)\n2025-08-02 09:30:00;41,9;-93,6;20;17;8\n"
    found = check_path(field_folder(points=text))
    assert [line.partition(" ")[0] for line in found.asked] == ["latitude", "time", "moisture", "speed", "mass_flow"]
    assert "[points.columns]\n" + found.asked[0] in found.as_text()
    lines = ['latitude = "Breite"', 'longitude = "Laenge"', 'time = "Zeit"', 'mass_flow = "Durchsatz (t/h)"', 'speed = "Tempo (km/h)"']
    lines.append('moisture = { column = "Feuchte", unit = "%" }')
    mended = check_path(field_folder(points=text, points_keys="[points.columns]\n" + "\n".join(lines)))
    assert (mended.faults, mended.asked) == ([], [])


def test_one_file_needs_no_field(field_folder):
    """A log alone is looked at as it is; its yield in bushels is asked for, since no crop is known."""
    found = check_path(field_folder() / "points.csv")
    assert {column["role"] for column in found.parts[0]["columns"]} >= {"longitude", "latitude", "mass_flow", "moisture"}
    assert found.parts[0]["says"] == "3 records, places in columns"


@pytest.mark.parametrize("kind", ["long", "wide"])
def test_a_list_of_counts_alone_is_known_as_one(field_folder, tmp_path, kind):
    """Its roles are said, and how it is checked: with the field it lies beside, or the line that brings it to one."""
    text = "stop,lat,lon,pre,rear,crew\n1,41.9,-93.6,3,40,ann\n" if kind == "wide" else None
    folder = field_folder(counts=text) if text else field_folder()
    found = check_path(folder / "counts.csv")
    assert found.faults == []
    assert found.parts[0]["says"].startswith("a list of counts, ")
    roles = {column["role"] for column in found.parts[0]["columns"]}
    assert roles >= ({"stop", "before_header", "behind_combine"} if kind == "wide" else {"stop", "position", "seeds", "frame"})
    assert found.parts[0]["unused"] == (["crew"] if kind == "wide" else [])
    assert found.parts[1] == {"what": "to check it with its field", "says": f"lossmap check {folder}"}
    alone = tmp_path / "alone.csv"
    alone.write_text((folder / "counts.csv").read_text())
    assert 'add [[counts]] and path = "alone.csv" to field.toml there' in check_path(alone).as_text()


def test_a_fault_in_the_counts_is_found(field_folder):
    """What only the counts have wrong is said too."""
    found = check_path(field_folder(counts="stop,lat,lon,position,seeds,frame_ft2\n1,41.9,-93.6,sideways,3,1\n"))
    assert 'position "sideways" is not known' in found.faults[0]


def test_a_field_not_counted_yet_is_no_fault(field_folder):
    """Its log is said as always, and what comes next; with a boundary alone too."""
    found = check_path(field_folder(counts=None))
    assert found.faults == []
    assert found.parts[1]["says"] == "3 records, places in columns"
    assert found.parts[-1] == {"what": "counts", "says": "none yet; lossmap stops plans where to take them, and a map needs them"}
    bare = field_folder(points=None, counts=None, facts=FACTS + 'boundary = "edge.geojson"\n', name="bare")
    square = {"type": "Polygon", "coordinates": [[[-93.6, 41.9], [-93.599, 41.9], [-93.599, 41.901], [-93.6, 41.901], [-93.6, 41.9]]]}
    (bare / "edge.geojson").write_text(json.dumps(square))
    assert check_path(bare).faults == []


def test_a_field_of_nothing_is_a_fault(field_folder):
    """Neither log nor boundary nor counts: neither a map nor a plan can come of it."""
    found = check_path(field_folder(points=None, counts=None))
    assert found.faults == [
        "creek/field.toml: names neither a log nor a boundary, so there is no ground to place stops on; "
        'add boundary = "boundary.geojson", or a [[points]] with path = "points.csv"'
    ]
    assert check_path(field_folder(points=None)).faults == []


@pytest.mark.parametrize("edge", [True, False])
def test_counts_of_another_field_are_found(field_folder, edge):
    """A stop 33 km off the log (a lost fix beside it notwithstanding), or off the boundary, is the fault that map would name."""
    counts = "stop,lat,lon,position,seeds,frame_ft2\n1,41.9,-93.6,rear,3,1\n2,42.2,-93.6,rear,3,1\n"
    lost = POINTS_CSV + "-93.6,42.2,31,17,5,1\n"
    folder = field_folder(points=lost, counts=counts, facts=FACTS + ('boundary = "edge.geojson"\n' if edge else ""))
    square = {"type": "Polygon", "coordinates": [[[-93.601, 41.9], [-93.599, 41.9], [-93.599, 41.901], [-93.601, 41.901], [-93.601, 41.9]]]}
    (folder / "edge.geojson").write_text(json.dumps(square))
    assert check_path(folder).faults == [
        f"creek: stop 2 lies 33 km from the field's {'boundary' if edge else 'log'} (1 of 2 counts are more than 2 km off); "
        "these are another field's counts, or longitude and latitude are swapped"
    ]


def test_a_path_to_nothing(tmp_path):
    """A path that leads nowhere is refused."""
    with pytest.raises(SettingsError, match="no such file or folder"):
        check_path(tmp_path / "nowhere.csv")


def test_task_data_show_their_logs_and_columns(field_folder):
    """The log of ISO 11783-10 task data is said with its machine, its records and the roles found in it."""
    folder = field_folder(points=None)
    Made().write(folder / "td")
    with (folder / "field.toml").open("a") as facts:
        facts.write('\n[[points]]\npath = "td"\n')
    found = check_path(folder)
    log = next(part for part in found.parts if part["what"] == "creek/td, TLG00001")
    assert log["says"] == "10 records, Made combine"
    assert "mass_flow" in {column["role"] for column in log["columns"]}
    assert found.faults == []
