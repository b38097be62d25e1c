from __future__ import annotations

import json
import locale
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from planted_fields import plant, spoil

from lossmap.pipelines import ONE_THREAD, plain_process
from lossmap.pipelines.command import main
from lossmap.read import read_settings
from lossmap.report.run_file import as_typed
from lossmap.synthetic_farm import FarmPlan, made_farm, write_farm

WRONG = [
    # (what, change to field.toml, change to points.csv, change to counts.csv, exit code, message)
    ("missing file", ("points.csv", "pionts.csv"), None, None, 3, "creek/field.toml: points[1].path: no such file (pionts.csv)"),
    ("misspelt key", ("header_width", "header_widht"), None, None, 2, "header_widht: no such key; did you mean header_width?"),
    ("unknown crop", ('"corn"', '"krn"'), None, None, 2, '"krn" is not in the crop table'),
    (
        "text in a number",
        None,
        ("41.9000181,31", "41.9000181,lots"),
        None,
        3,
        'creek/points.csv, row 3: Mass flow (lb/s) "lots" is not a number',
    ),
    (
        "latitude 999",
        None,
        None,
        ("-93.6,41.90002,rear", "-93.6,999,rear"),
        3,
        "creek/counts.csv, row 4: latitude 999 is outside -90 to 90",
    ),
    (
        "another field's counts",
        None,
        None,
        ("-93.6,", "-97.6,"),
        3,
        "these are another field's counts, or longitude and latitude are swapped",
    ),
    ("swapped axes", None, None, ("-93.6,41.90002,before", "41.90002,-93.6,before"), 3, "latitude -93.6 is outside"),
    ("empty file", None, (None, ""), None, 3, "creek/points.csv: is empty (0 bytes)"),
]


@pytest.fixture
def long_field(field_folder):
    """A field of 300 records on a line and one stop: enough to map."""
    records = "\n".join(f"-93.60000,{41.9 + 1.809e-5 * i:.7f},{30 + i % 5},17,4.5,1" for i in range(300))
    counts = (
        "stop,longitude,latitude,position,seeds,frame_ft2,frames\n"
        "1,-93.6,41.90002,before header,1,1,4\n1,-93.6,41.90002,behind header,6,1,4\n1,-93.6,41.90002,rear,9,1,4\n"
    )
    head = "longitude,latitude,Mass flow (lb/s),Moisture (%),Speed (mph),interval (s)\n"
    return field_folder(points=head + records + "\n", counts=counts)


@pytest.mark.parametrize(("what", "facts", "points", "counts", "code", "message"), WRONG, ids=[row[0] for row in WRONG])
def test_wrong_input_gets_one_message_and_its_exit_code(long_field, tmp_path, capsys, what, facts, points, counts, code, message):
    """What a new user gets wrong is named where it stands, nothing is written, and the code is the documented one."""
    for name, change in (("field.toml", facts), ("points.csv", points), ("counts.csv", counts)):
        if change:
            text = (long_field / name).read_text()
            (long_field / name).write_text(change[1] if change[0] is None else text.replace(*change))
    assert main(["map", str(long_field), "--out", str(tmp_path / "out")]) == code
    said = capsys.readouterr().err
    assert message in said
    assert "Traceback" not in said
    assert not (tmp_path / "out").exists() or not any((tmp_path / "out").iterdir())


def test_one_stop_makes_a_map_with_one_mean(long_field, tmp_path, capsys):
    """The least there can be: one stop gives the field's mean with a doubt that holds what was counted, and says that it is no surface."""
    assert main(["map", str(long_field), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    out = capsys.readouterr().out
    assert out.startswith(str(tmp_path / "out" / "creek" / "map.html") + ": loss ")
    summary = json.loads((tmp_path / "out" / "creek" / "summary.json").read_text())
    total = summary["loss"]["total"]
    assert total["low_bu_ac"] < 1.1 < total["high_bu_ac"]
    assert total["high_bu_ac"] > 3 * total["low_bu_ac"]
    assert {found["verdict"] for found in summary["drivers"].values()} == {"not enough counts"}


def test_a_failed_run_leaves_the_earlier_result(long_field, tmp_path, capsys):
    """Counts that go wrong after a good run do not cost the good result."""
    assert main(["map", str(long_field), "--out", str(tmp_path / "out"), "-q"]) == 0
    before = {path.name: path.read_bytes() for path in (tmp_path / "out" / "creek").iterdir()}
    (long_field / "counts.csv").write_text("")
    assert main(["map", str(long_field), "--out", str(tmp_path / "out"), "-q"]) == 3
    assert {path.name: path.read_bytes() for path in (tmp_path / "out" / "creek").iterdir()} == before


@pytest.mark.parametrize("out", ["..", "../.."])
def test_results_never_take_the_fields_own_place(long_field, capsys, monkeypatch, out):
    """With --out at the field's parent the results would replace the field: refused, and not a byte of it changes."""
    monkeypatch.chdir(long_field)
    before = {path.name: path.read_bytes() for path in long_field.iterdir()}
    place = long_field.parent if out == ".." else long_field.parent.parent
    if out == "../..":
        renamed = long_field.parent.rename(long_field.parent.with_name("creek"))
        monkeypatch.chdir(renamed / "creek")
        assert main(["map", str(renamed / "creek"), "--out", str(place)]) == 2
        before_now = {path.name: path.read_bytes() for path in (renamed / "creek").iterdir()}
        assert before_now == before
    else:
        assert main(["map", ".", "--out", ".."]) == 2
        assert {path.name: path.read_bytes() for path in long_field.iterdir()} == before
    assert "is the field's own folder" in capsys.readouterr().err


@pytest.mark.parametrize("column", ["Speed (mph)", "interval (s)"])
def test_a_dead_sensor_is_no_crash(long_field, tmp_path, capsys, column):
    """A column of zeros maps what it can or says what is wrong; there is no traceback."""
    lines = (long_field / "points.csv").read_text().splitlines()
    place = lines[0].split(",").index(column)
    rows = [",".join("0" if number == place else value for number, value in enumerate(line.split(","))) for line in lines[1:]]
    (long_field / "points.csv").write_text("\n".join([lines[0], *rows]))
    assert main(["map", str(long_field), "--out", str(tmp_path / "out"), "-q"]) in (0, 3)


def test_a_log_that_stands_still_is_said(long_field, tmp_path, capsys):
    """Three hundred records at one place are no field."""
    text = (long_field / "points.csv").read_text()
    lines = [re.sub(r"^-93.60000,41.9\d+", "-93.6,41.9", line) for line in text.splitlines()]
    (long_field / "points.csv").write_text("\n".join(lines))
    assert main(["map", str(long_field), "--out", str(tmp_path / "out"), "-q"]) == 3
    assert "nan" not in capsys.readouterr().err


def test_the_same_input_gives_the_same_bytes(long_field, tmp_path, capsys):
    """Two runs differ in the seconds of run.toml only."""
    for name in ("a", "b"):
        assert main(["map", str(long_field), "--out", str(tmp_path / name), "-q"]) == 0
    for path in (tmp_path / "a" / "creek").iterdir():
        if path.name != "run.toml":
            assert path.read_bytes() == (tmp_path / "b" / "creek" / path.name).read_bytes(), path.name
    runs = [tomllib.loads((tmp_path / name / "creek" / "run.toml").read_text()) for name in ("a", "b")]
    assert runs[0].pop("seconds").keys() == runs[1].pop("seconds").keys()
    assert runs[0] == runs[1]


def test_settings_print_a_file_that_config_reads(long_field, tmp_path, capsys):
    """The printed settings are a valid config, and a run with it is one with the defaults, but for what --set lays over it."""
    assert main(["settings"]) == 0
    file = tmp_path / "all.toml"
    file.write_text(capsys.readouterr().out)
    assert main(["map", str(long_field), "--out", str(tmp_path / "out"), "--config", str(file), "--set", 'grid.cell="10 m"', "-q"]) == 0
    used = tomllib.loads((tmp_path / "out" / "creek" / "run.toml").read_text())["settings"]
    assert used == as_typed(read_settings(assignments=['grid.cell="10 m"']))
    assert used["grid"]["cell"] == "10 m"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--set", "grid.cell=5"], "--set: grid.cell: 5 is not a number with a unit"),
        (["--set", "grid.cell"], "is not KEY=VALUE"),
        (["--set", 'grid.sell="5 m"'], "--set: grid.sell: no such key; did you mean grid.cell?"),
        (["--config", "nowhere.toml"], "nowhere.toml: cannot be read"),
    ],
)
def test_wrong_settings_are_refused(long_field, tmp_path, capsys, words, message):
    """A bare number, a missing value, a misspelt key and a missing file end with code 2."""
    assert main(["map", str(long_field), "--out", str(tmp_path / "out"), *words]) == 2
    assert message in capsys.readouterr().err


def test_check_says_what_was_understood(long_field, capsys):
    """Every role with its column, unit, how it was decided and first values; counts and notes too."""
    assert main(["check", str(long_field)]) == 0
    said = capsys.readouterr().out
    for words in (
        "Mass flow (lb/s)  lb/s",
        "by its name, unit in its header",
        "30, 31, 32",
        "counts: 1 stop (1 before_header",
        "300 records",
    ):
        assert words in said
    assert main(["check", str(long_field), "--json"]) == 0
    parts = json.loads(capsys.readouterr().out)["parts"]
    assert any(column["role"] == "mass_flow" for part in parts for column in part.get("columns", []))


def test_check_names_every_fault_at_once(field_folder, tmp_path, capsys):
    """A file whose units are missing prints what it understood, then what to write; code 3."""
    folder = field_folder(points="lon,lat,yield,speed\n-93.6,41.9,180,4.5\n")
    assert main(["check", str(folder)]) == 3
    printed = capsys.readouterr()
    assert "longitude" in printed.out
    assert printed.err.count("could be in") == 2
    assert 'speed = { column = "speed", unit = "mph" }' in printed.out
    assert main(["check", str(folder / "points.csv")]) == 3
    assert main(["check", str(tmp_path / "nowhere")]) == 2


def test_check_before_any_count(long_field, capsys):
    """A log alone is a field to plan stops on: code 0, and the command that does it."""
    text = (long_field / "field.toml").read_text()
    (long_field / "field.toml").write_text(text.replace('[[counts]]\npath = "counts.csv"\n', ""))
    assert main(["check", str(long_field)]) == 0
    printed = capsys.readouterr()
    assert printed.out.endswith("counts: none yet; lossmap stops plans where to take them, and a map needs them\n")
    assert printed.err == ""


def test_a_field_without_a_log_is_mapped_from_its_counts(field_folder, tmp_path, capsys):
    """Counts alone give loss by source; that nothing else is known is said."""
    assert main(["map", str(field_folder(points=None)), "--out", str(tmp_path / "out")]) == 0
    printed = capsys.readouterr()
    assert "no log was given" in printed.err
    assert json.loads((tmp_path / "out" / "creek" / "summary.json").read_text())["yield_kg_ha"] is None


def test_help_loads_no_heavy_library():
    """--help answers from argparse alone: neither numpy nor pandas is imported for it."""
    heavy = "{'numpy', 'pandas', 'pydantic', 'geopandas'}"
    script = (
        "import sys\nfrom lossmap.pipelines.command import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        f"print(sorted({heavy} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "map" in done.stdout


def test_letters_are_those_of_c_where_a_small_i_is_another(monkeypatch):
    """In a Turkish locale GDAL cannot find its own names: letters become C's, here and in children; other locales stay."""
    now = "tr_TR.UTF-8"

    def setlocale(kind, wanted=None):
        nonlocal now
        now = wanted or now
        return now

    monkeypatch.setattr(locale, "setlocale", setlocale)
    for name in ("LC_ALL", *ONE_THREAD):
        monkeypatch.delenv(name, raising=False)
    plain_process()
    assert (now, os.environ["LC_ALL"]) == ("C.UTF-8", "C.UTF-8")
    monkeypatch.delenv("LC_ALL")
    now = "de_DE.UTF-8"
    plain_process()
    assert now == "de_DE.UTF-8"
    assert "LC_ALL" not in os.environ
    assert set(ONE_THREAD) <= set(os.environ)


@pytest.mark.parametrize("closed", [(1,), (2,), (0, 1, 2)])
@pytest.mark.skipif(sys.platform == "win32", reason="closes streams as a POSIX shell does")
def test_closed_streams_are_no_crash(closed):
    """`lossmap settings >&-` ends as it would; no file that is opened later gets the number of a stream."""
    code = (
        "import os, sys\nfrom lossmap.pipelines.command import main\ncode = main(['settings'])\n"
        "number = os.open(os.devnull, os.O_RDONLY)\nos._exit(code if number > 2 else 9)"
    )

    def close():
        for number in closed:
            os.close(number)

    done = subprocess.run([sys.executable, "-c", code], preexec_fn=close, check=False)
    assert done.returncode == 0


@pytest.mark.skipif(sys.platform == "win32", reason="where a folder in use cannot be deleted")
def test_started_in_a_folder_that_is_gone(long_field, tmp_path, capsys, monkeypatch):
    """One message and exit code 2, not Python's own trace."""
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    assert main(["map", str(long_field), "-q"]) == 2
    assert capsys.readouterr().err == "lossmap: the folder it was started in is gone; change to another and run it again\n"


def test_settings_of_one_command(capsys):
    """A map heeds every setting but those of a plan and of a season, which are made from maps and heed their own besides."""
    printed = {}
    for flow in ([], ["map"], ["stops"], ["season"]):
        assert main(["settings", *flow]) == 0
        printed[tuple(flow)] = tomllib.loads(capsys.readouterr().out)
    for flow, unheeded in (("map", {"stops", "season"}), ("stops", {"season"}), ("season", {"stops"})):
        assert printed[flow,] == {name: part for name, part in printed[()].items() if name not in unheeded}
    assert printed[()]["stops"] == {"number": 24, "frames": 4}


@pytest.mark.parametrize("config", sorted((Path(__file__).parents[2] / "configs").glob("*.toml")), ids=lambda file: file.stem)
def test_every_config_is_read(config):
    """Each file of configs/ is one that --config takes, and says why on every line that sets something."""
    read_settings(config)
    lines = config.read_text().splitlines()
    assert lines[0].startswith("# ")
    assert all("#" in line for line in lines if "=" in line)


def test_no_command_shows_help_and_two(capsys):
    """`lossmap` alone explains itself and ends with 2."""
    assert main([]) == 2
    assert "COMMAND" in capsys.readouterr().err
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("lossmap ")


def test_stops_says_one_line_and_writes_three_files(long_field, tmp_path, capsys):
    """One line on stdout, the plan beside nothing else; stderr has the stages."""
    assert main(["stops", str(long_field), "--out", str(tmp_path / "out"), "--number", "5"]) == 0
    printed = capsys.readouterr()
    place = tmp_path / "out" / "creek" / "count-sheet.html"
    assert printed.out == f"{place}: 5 stops, spread over place, ground speed and moisture, away from the 1 counted\n"
    assert "creek: stops, " in printed.err
    assert sorted(path.name for path in place.parent.iterdir()) == ["count-sheet.html", "stops-plan.geojson", "stops-plan.gpx"]


def test_stops_before_any_count(field_folder, tmp_path, capsys, long_field):
    """A field without [[counts]] is planned, two dozen stops unless asked otherwise; --json is one line with every stop."""
    folder = field_folder(points=(long_field / "points.csv").read_text(), counts=None, name="brook")
    assert main(["stops", str(folder), "--out", str(tmp_path / "out"), "--json", "-q"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 1
    values = json.loads(lines[0])
    assert values["counted"] == 0
    assert [stop["stop"] for stop in values["stops"]] == [f"P{number}" for number in range(1, 25)]
    assert values["says"] == ["24 stops, spread over place, ground speed and moisture"]
    assert any("key out" in caution for caution in values["cautions"])


def test_stops_are_as_many_as_set(long_field, tmp_path, capsys):
    """A config says how many stops and frames; --number goes before it, wherever it stands."""
    (tmp_path / "walk.toml").write_text("[stops]\nnumber = 7\nframes = 2\n")
    config = ["--config", str(tmp_path / "walk.toml")]
    for words, number in (([], 7), (["--number", "3", "--set", "stops.number=5"], 3)):
        assert main(["stops", str(long_field), "--out", str(tmp_path / "out"), "--json", *config, *words]) == 0
        stops = json.loads(capsys.readouterr().out)["stops"]
        assert (len(stops), {stop["frames"] for stop in stops}) == (number, {2})


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--number", "0"], "lossmap: --set: stops.number: must be 1 to 500 (is 0)\n"),
        (["--number", "501", "--set", "stops.number=3"], "lossmap: --set: stops.number: must be 1 to 500 (is 501)\n"),
        (["--set", "stops.frames=51"], "lossmap: --set: stops.frames: must be 1 to 50 (is 51)\n"),
        (["--set", "grid.cell=5"], "--set: grid.cell: 5 is not a number with a unit"),
    ],
)
def test_stops_asked_for_wrongly(long_field, tmp_path, capsys, words, message):
    """A number nobody counts and a setting without unit end with code 2, and nothing is written."""
    assert main(["stops", str(long_field), "--out", str(tmp_path / "out"), *words]) == 2
    assert message in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("what", "facts", "points", "counts", "code", "message"), WRONG, ids=[row[0] for row in WRONG])
def test_stops_refuses_wrong_input_as_map_does(long_field, tmp_path, capsys, what, facts, points, counts, code, message):
    """The same faults, the same words, the same codes, nothing written."""
    for name, change in (("field.toml", facts), ("points.csv", points), ("counts.csv", counts)):
        if change:
            text = (long_field / name).read_text()
            (long_field / name).write_text(change[1] if change[0] is None else text.replace(*change))
    assert main(["stops", str(long_field), "--out", str(tmp_path / "out")]) == code
    assert message in capsys.readouterr().err
    assert not (tmp_path / "out").exists() or not any((tmp_path / "out").iterdir())


def test_stops_needs_ground(field_folder, tmp_path, capsys):
    """Counts alone say nothing of where the field is: code 3, and what to add."""
    assert main(["stops", str(field_folder(points=None)), "--out", str(tmp_path / "out")]) == 3
    assert capsys.readouterr().err == (
        "lossmap: creek/field.toml: names neither a log nor a boundary, so there is no ground to place stops on; "
        'add boundary = "boundary.geojson", or a [[points]] with path = "points.csv"\n'
    )


def test_stops_never_touch_the_fields_own_place(long_field, capsys, monkeypatch):
    """With --out at the field's parent the plan would lie among the field's files: refused, not a byte changes."""
    before = {path.name: path.read_bytes() for path in long_field.iterdir()}
    monkeypatch.chdir(long_field)
    assert main(["stops", ".", "--out", ".."]) == 2
    assert "is the field's own folder" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in long_field.iterdir()} == before


def test_stops_cannot_write_where_a_file_is(long_field, tmp_path, capsys):
    """--out that is a file is named, code 2."""
    (tmp_path / "taken").write_text("mine")
    assert main(["stops", str(long_field), "--out", str(tmp_path / "taken"), "-q"]) == 2
    assert f"{tmp_path / 'taken'}: cannot be written to" in capsys.readouterr().err
    assert (tmp_path / "taken").read_text() == "mine"


def test_a_hostile_name_is_only_a_name(long_field, tmp_path, capsys):
    """Markup, control characters and paths in a field's name end as text in the plan's files, nowhere else."""
    text = (long_field / "field.toml").read_text()
    (long_field / "field.toml").write_text(text.replace("Made creek", r"</name><wpt lat='0'/>\u0000\u001b[31m../../x"))
    assert main(["stops", str(long_field), "--out", str(tmp_path / "out"), "-q", "--number", "2"]) == 0
    assert "\x1b" not in capsys.readouterr().out
    content = (tmp_path / "out" / "creek" / "stops-plan.gpx").read_text()
    assert content.count("<wpt ") == 2
    assert "&lt;/name&gt;&lt;wpt lat='0'/&gt;\ufffd\ufffd[31m../../x" in content
    assert "&lt;/name&gt;&lt;wpt lat=&#39;0&#39;/&gt;" in (tmp_path / "out" / "creek" / "count-sheet.html").read_text()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["creek", "out"]


def test_rank_prints_one_line_and_knows_its_day(tmp_path, capsys):
    """A farm's order is one line on stdout, its log on stderr; a day that is none is refused before anything is read."""
    write_farm(made_farm(FarmPlan(fields=3, years=6), 2), tmp_path / "farm", FarmPlan().on)
    quick = [
        "--set",
        "doubt.seasons=20",
        "--set",
        "search.rounds=0",
        "--set",
        'search.slot="1 h"',
        "--out",
        str(tmp_path / "out"),
        "--quiet",
    ]
    assert main(["rank", str(tmp_path / "farm"), "--on", "2025-09-25", *quick]) == 0
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    assert out.startswith(f"{tmp_path / 'out' / 'farm' / 'ranking.html'}: ")
    assert main(["rank", str(tmp_path / "farm"), "--on", "2025-09-25", "--json", *quick]) == 0
    assert json.loads(capsys.readouterr().out)["changed"] == ["Nothing of note since the plan of 25 Sep."]
    with pytest.raises(SystemExit) as ended:
        main(["rank", str(tmp_path / "farm"), "--on", "25.9.2025"])
    assert ended.value.code == 2
    assert '"25.9.2025" is not a day; write 2025-10-18' in capsys.readouterr().err
    assert main(["rank", str(tmp_path / "nowhere")]) == 2
    assert "no such folder; give a folder whose farm.toml has" in capsys.readouterr().err


def test_settings_of_a_ranking(capsys):
    """`settings rank` prints what `rank --config` reads."""
    assert main(["settings", "rank"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("# Settings of lossmap rank.")
    assert 'season = "75 d"' in out


def test_season_prints_one_line_and_a_line_a_field(tmp_path, capsys):
    """stdout has where to look and what it says, or JSON; stderr a line a field; done fields are taken over."""
    folder = plant(tmp_path / "farm", "north/creek", "hill")
    words = ["season", str(folder), "--out", str(tmp_path / "out"), "--cores", "0"]
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert out.count("\n") == 1
    assert out.startswith(f"{tmp_path / 'out' / 'farm' / 'season.html'}: ")
    assert [line.partition(",")[0] for line in err.splitlines() if "of 2)" in line] == ["hill: mapped", "north/creek: mapped"]
    assert main([*words, "--json", "--quiet"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out) == json.loads((tmp_path / "out" / "farm" / "summary.json").read_text())
    assert "taken over" not in err


def test_season_tells_by_its_code_what_failed(tmp_path, capsys):
    """4 where some failed and the rest is written, 3 where none is, each with its reason on stderr even when quiet."""
    folder = plant(tmp_path / "farm", "creek", "hill")
    words = ["season", str(folder), "--out", str(tmp_path / "out"), "--cores", "0", "--quiet"]
    spoil(folder / "creek")
    assert main(words) == 4
    out, err = capsys.readouterr()
    assert out.startswith(f"{tmp_path / 'out' / 'farm' / 'season.html'}: ")
    assert 'creek: creek/counts.csv, row 2: seeds "lots" is not a number' in err
    assert (tmp_path / "out" / "farm" / "hill" / "map.html").exists()
    spoil(folder / "hill")
    assert main(words) == 3
    assert "lossmap: farm: none of its 2 fields could be mapped; the first, creek: " in capsys.readouterr().err
    (tmp_path / "bare").mkdir()
    assert main(["season", str(tmp_path / "bare"), "--out", str(tmp_path / "out")]) == 3
    assert "no field is in it (no folder with a field.toml, at any depth)" in capsys.readouterr().err
