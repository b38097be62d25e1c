"""Every field below a folder: found, mapped, taken over, and none lost by what comes over another."""

from __future__ import annotations

import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import geopandas as gpd
import pandas as pd
import pytest
from clusters import cluster
from planted_fields import grieving_row, plant, spoil

from lossmap.base.errors import SettingsError, TooLittleData, WriteError
from lossmap.base.estimates import NOTHING
from lossmap.base.season import DriverEvidence, ShrunkenSlope
from lossmap.base.settings import Settings, build
from lossmap.pipelines import season as module
from lossmap.pipelines.season import map_season
from lossmap.pipelines.season_field import field_row
from lossmap.pipelines.turns import alone
from lossmap.read import read_season_row, read_settings
from lossmap.report import FILES, SEASON_FILES, write_season

IDS = ("north/creek", "north/hill", "south/creek")


def rows(folder):
    """The season's table, by field."""
    return gpd.read_parquet(folder / "season.parquet").set_index("field_id")


def made_of(folder):
    """Every file below a folder with its bytes, the seconds of run.toml aside."""
    return {
        path.relative_to(folder).as_posix(): (
            {**tomllib.loads(path.read_text()), "seconds": None} if path.name == "run.toml" else path.read_bytes()
        )
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def stamps(folder):
    """When the results of each field were made."""
    return {path.parent.relative_to(folder).as_posix(): path.stat().st_mtime_ns for path in folder.rglob("run.toml")}


def is_whole(folder):
    """Whether no result is half: all files of a field or none."""
    own = set(FILES) - set(SEASON_FILES)
    begun = {path.parent for path in folder.rglob("*") if path.name in own}
    return all({path.name for path in results.iterdir()} >= set(FILES) for results in begun)


@pytest.fixture(scope="module")
def mapped_once(tmp_path_factory):
    """Three fields at two depths, mapped in this process: the folder of fields and that of results."""
    folder = plant(tmp_path_factory.mktemp("once") / "farm", *IDS)
    map_season(folder, Settings(), folder.parent / "out", cores=0)
    return folder, folder.parent / "out"


@pytest.fixture
def mapped(mapped_once, tmp_path):
    """A copy of the same that may be spoilt."""
    folder, out = mapped_once
    return Path(shutil.copytree(folder, tmp_path / "farm")), Path(shutil.copytree(out, tmp_path / "out"))


def test_results_lie_as_the_fields_do(mapped_once):
    """Two fields of one name keep apart; the season's own files lie above them, and nothing else does."""
    folder, out = mapped_once
    assert {path.name for path in (out / "farm").iterdir()} == {"north", "south"} | set(SEASON_FILES)
    assert sorted(stamps(out / "farm")) == sorted(IDS)
    assert list(rows(out / "farm").index) == sorted(IDS)
    assert all({path.name for path in (out / "farm" / field_id).iterdir()} == set(FILES) for field_id in IDS)
    assert sorted(path.name for path in (folder / "north" / "creek").iterdir()) == [
        "boundary.geojson",
        "counts.csv",
        "field.toml",
        "points.csv",
    ]


def test_a_row_says_what_the_fields_own_files_say(mapped_once):
    """Numbers as in its summary.json, and its outline."""
    _, out = mapped_once
    found, summary = rows(out / "farm"), json.loads((out / "farm" / "north" / "hill" / "summary.json").read_text())
    row = found.loc["north/hill"]
    assert row["total_high_kg_ha"] == summary["loss"]["total"]["high_kg_ha"]
    assert (row["points"], row["points_kept"]) == (summary["points"]["read"], summary["points"]["kept"])
    assert row["speed_verdict"] == summary["drivers"]["speed"]["verdict"]
    assert row.geometry.is_valid
    area = gpd.GeoSeries([row.geometry], crs=found.crs).to_crs(found.estimate_utm_crs()).area.iloc[0] / 10_000
    assert area == pytest.approx(row["area_ha"], rel=0.01)
    assert (found["error"] == "").all()


def test_unchanged_fields_are_taken_over(mapped):
    """Nothing is made anew, and the rows say the same."""
    folder, out = mapped
    before, table = stamps(out), rows(out / "farm")
    again = map_season(folder, Settings(), out, cores=0)
    assert stamps(out) == before
    assert again.failed == 0
    after = rows(out / "farm")
    assert list(after["remade"]) == [0, 0, 0]
    same = [name for name in table if name not in ("remade", "seconds")]
    pd.testing.assert_frame_equal(pd.DataFrame(after[same]), pd.DataFrame(table[same]))


@pytest.mark.parametrize("changed", ["input", "missing result", "other version"])
def test_one_that_changed_is_made_anew_alone(mapped, changed):
    """A byte of an input, a result gone, a result of another version: that field, and no other."""
    folder, out = mapped
    field, result = folder / "south" / "creek", out / "farm" / "south" / "creek"
    if changed == "input":
        with (field / "counts.csv").open("a") as opened:
            opened.write("\n")
    elif changed == "missing result":
        (result / "zones.geojson").unlink()
    else:
        run = result / "run.toml"
        run.write_text(run.read_text().replace('lossmap = "', 'lossmap = "9.'))
    before = stamps(out)
    map_season(folder, Settings(), out, cores=0)
    remade = rows(out / "farm")["remade"]
    assert list(remade[remade == 1].index) == ["south/creek"]
    assert [field_id for field_id, stamp in stamps(out).items() if stamp != before[field_id]] == ["farm/south/creek"]


def swapped(result):
    """Another field's numbers in the place of its own."""
    shutil.copy(result.parent.parent / "north" / "hill" / "summary.json", result)


def poisoned(result, old, new):
    """One number of evidence.json another."""
    file = result / "evidence.json"
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new, 1))


def led_away(result, name, text):
    """A result that is a link to a file elsewhere."""
    elsewhere = result.parent.parent.parent / "elsewhere"
    elsewhere.write_text(text)
    (result / name).unlink()
    (result / name).symlink_to(elsewhere)


DAMAGE = {
    "evidence cut off": lambda result: (result / "evidence.json").write_bytes((result / "evidence.json").read_bytes()[:500]),
    "evidence empty": lambda result: (result / "evidence.json").write_bytes(b""),
    "another field's summary": swapped,
    "a number changed": lambda result: poisoned(result, '"stops": 2', '"stops": 3'),
    "not a number": lambda result: poisoned(result, '"mass_doubt": 0', '"mass_doubt": NaN, "was": 0'),
    "a terabyte of evidence": lambda result: os.truncate(result / "evidence.json", 10**12),
    "a terabyte of summary": lambda result: os.truncate(result / "summary.json", 10**12),
    "a run.toml that is none": lambda result: (result / "run.toml").write_text("lossmap = ["),
    "no word of its results": lambda result: (result / "run.toml").write_text(
        (result / "run.toml").read_text().replace("results_sha256", "other")
    ),
    "a link to a file elsewhere": lambda result: led_away(result, "summary.json", "mine"),
    "a link to nowhere": lambda result: [(result / "map.html").unlink(), (result / "map.html").symlink_to("nowhere")],
    "a folder for a file": lambda result: [(result / "evidence.json").unlink(), (result / "evidence.json").mkdir()],
    "a pipe for a file": lambda result: [(result / "evidence.json").unlink(), os.mkfifo(result / "evidence.json")],
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_results_that_were_damaged_are_made_anew(mapped, damage):
    """Whatever a hand did to one field's results: that field alone is mapped again, as it was, and nothing elsewhere is touched."""
    folder, out = mapped
    before, result = made_of(out), out / "farm" / "south" / "creek"
    DAMAGE[damage](result)
    season = map_season(folder, Settings(), out, cores=0)
    if damage == "a folder for a file":
        error = rows(out / "farm").loc["south/creek", "error"]
        assert season.failed == 1
        assert "evidence.json is a folder" in error or "cannot be replaced" in error
        return
    assert season.failed == 0
    assert rows(out / "farm")["remade"].to_dict() == {"north/creek": 0, "north/hill": 0, "south/creek": 1}
    after = made_of(out)
    assert [name for name in before if after[name] != before[name] and "/season." not in name and name != "farm/summary.json"] == []
    assert not [path for path in result.iterdir() if path.is_symlink()]
    if damage == "a link to a file elsewhere":
        assert after.pop("elsewhere") == b"mine"


def test_a_link_in_the_place_of_a_fields_results(mapped):
    """A folder elsewhere under that name: what lies there stays as it is, and the field's results come into the season's own folder."""
    folder, out = mapped
    result, elsewhere = out / "farm" / "south" / "creek", out.parent / "elsewhere"
    shutil.move(result, elsewhere)
    (elsewhere / "summary.json").write_text("mine")
    result.symlink_to(elsewhere)
    before = made_of(elsewhere)
    assert map_season(folder, Settings(), out, cores=0).failed == 0
    assert made_of(elsewhere) == before
    assert not result.is_symlink()


def test_other_settings_or_again_make_all_anew(mapped):
    """A setting that no field's map rests on makes none."""
    folder, out = mapped
    for settings, again, remade in (
        (build(Settings, {"season": {"field_limit": "99 s"}, "stops": {"number": 3}}, "test"), False, 0),
        (build(Settings, {"report": {"units": "metric"}}, "test"), False, 3),
        (build(Settings, {"report": {"units": "metric"}}, "test"), True, 3),
    ):
        map_season(folder, settings, out, cores=0, again=again)
        assert rows(out / "farm")["remade"].sum() == remade


@pytest.mark.parametrize("how", ["cores", "cluster"])
def test_the_same_bytes_wherever_they_are_made(mapped_once, tmp_path, how):
    """On cores and on a cluster every file of every field is the one that this process made."""
    folder, out = mapped_once
    if how == "cores":
        map_season(folder, Settings(), tmp_path, cores=2)
    else:
        with cluster(tmp_path / "dask") as made:
            map_season(folder, Settings(), tmp_path, cluster=made.address)
    for field_id in IDS:
        assert made_of(tmp_path / "farm" / field_id) == made_of(out / "farm" / field_id)


def test_what_comes_over_a_field_is_a_row(tmp_path, monkeypatch):
    """Bad data, a killed process, lack of memory, a fault, a folder that vanishes, one process killed once: rows; the rest is mapped."""
    monkeypatch.setattr(module, "field_row", grieving_row)
    names = ("dies", "dies-once", "hill", "poisoned", "slips", "starves", "vanishes")
    folder = plant(tmp_path / "farm", *names)
    spoil(folder / "poisoned")
    season = map_season(folder, Settings(), tmp_path / "out", cores=2)
    error = rows(tmp_path / "out" / "farm")["error"]
    assert error[error == ""].index.tolist() == ["dies-once", "hill"]
    assert season.failed == 5
    assert error["dies"].startswith("its process was killed (SIGKILL), and once more with no other field beside it")
    assert error["starves"].startswith("needs more memory than there is, even with no other field beside it")
    assert (
        error["slips"]
        == f"lossmap itself failed on it (KeyError: 'planted'); lossmap map {folder / 'slips'} shows where: please report that"
    )
    assert 'seeds "lots" is not a number' in error["poisoned"]
    assert "no such folder" in error["vanishes"]
    assert is_whole(tmp_path / "out")
    assert not list((tmp_path / "out").rglob(".*"))


def test_each_field_is_said_when_it_is_done(mapped, monkeypatch, caplog):
    """Not all at the end; and one who breaks it off hears how many are done."""
    folder, out = mapped
    order = []

    def slowly(job):
        order.append(f"works on {job.field_id}")
        if job.field_id == "south/creek":
            raise KeyboardInterrupt
        return field_row(job)

    class Told(module.Fields):
        def __call__(self, field_id, *more):
            order.append(f"says {field_id}")

    monkeypatch.setattr(module, "field_row", slowly)
    monkeypatch.setattr(module, "Fields", Told)
    monkeypatch.setattr(module._log, "propagate", True)
    with pytest.raises(KeyboardInterrupt):
        map_season(folder, Settings(), out, cores=0)
    assert order == [f"{verb} {field_id}" for field_id in IDS[:2] for verb in ("works on", "says")] + ["works on south/creek"]
    assert "farm: stopped after 2 of 3 fields, which stay; the same command goes on from there" in caplog.text


def test_a_second_season_into_the_same_folder_waits(mapped, monkeypatch, caplog):
    """It says so, and begins when the first has ended."""
    folder, out = mapped
    monkeypatch.setattr(module._log, "propagate", True)
    begun, ended = threading.Event(), threading.Event()

    def first():
        with alone(out / "farm", lambda: None):
            begun.set()
            while "waits until it has ended" not in caplog.text:
                time.sleep(0.01)
            ended.set()

    other = threading.Thread(target=first)
    other.start()
    begun.wait()
    map_season(folder, Settings(), out, cores=0)
    assert ended.is_set()
    other.join()
    assert f"farm: another season is at work on {out / 'farm'}; this one waits until it has ended" in caplog.text
    assert not list(out.rglob(".*"))


def test_a_field_that_hangs_is_stopped(mapped, monkeypatch):
    """At its limit, while the others have their rows."""
    monkeypatch.setattr(module, "field_row", grieving_row)
    folder, out = mapped
    shutil.copytree(folder / "north" / "hill", folder / "hangs")
    season = map_season(folder, build(Settings, {"season": {"field_limit": "6 s"}}, "test"), out, cores=2)
    error = rows(out / "farm")["error"]
    assert season.failed == 1
    assert error["hangs"].startswith("took longer than 6 s and was stopped; try it alone with lossmap map, or give it longer")


def test_a_failed_fields_earlier_map_stays(mapped):
    """As it was, and the row says whose it is; mended, it is mapped."""
    folder, out = mapped
    counts = (folder / "north" / "creek" / "counts.csv").read_bytes()
    spoil(folder / "north" / "creek")
    before = made_of(out / "farm" / "north" / "creek")
    season = map_season(folder, Settings(), out, cores=0)
    assert season.failed == 1
    row = rows(out / "farm").loc["north/creek"]
    assert row["error"].endswith("(the map in its folder is of an earlier run)")
    assert (row["name"], row["remade"], pd.isna(row["total_kg_ha"])) == ("creek", 0, True)
    assert row.geometry.is_empty
    assert made_of(out / "farm" / "north" / "creek") == before
    (folder / "north" / "creek" / "counts.csv").write_bytes(counts)
    assert map_season(folder, Settings(), out, cores=0).failed == 0


def test_none_that_can_be_mapped_is_a_refusal(mapped):
    """With the first reason; the season's earlier files stay."""
    folder, out = mapped
    for field_id in IDS:
        spoil(folder / field_id)
    before = made_of(out)
    with pytest.raises(TooLittleData, match=r"farm: none of its 3 fields could be mapped; the first, north/creek: .*lots"):
        map_season(folder, Settings(), out, cores=0)
    assert made_of(out) == before


def test_a_field_where_none_may_be_is_a_row(tmp_path):
    """One in another's folder, one of the name of a file that a season writes."""
    folder = plant(tmp_path / "farm", "hill", "hill/inner", "season.csv/creek")
    map_season(folder, Settings(), tmp_path / "out", cores=0)
    error = rows(tmp_path / "out" / "farm")["error"]
    assert error["hill/inner"] == "lies in the folder of another field (hill), and so would its results; move it beside that"
    assert error["season.csv/creek"] == "has the name of a file that a season writes; give its folder another"
    assert error["hill"] == ""


def test_results_never_come_to_lie_among_fields(tmp_path):
    """The folder itself, one above it, a field's own folder, and results of another kind are refused before anything is done."""
    folder = plant(tmp_path / "farm", "hill")
    before = made_of(tmp_path)
    for out in (tmp_path, folder / ".." / ".." / tmp_path.name):
        with pytest.raises(SettingsError, match="give another --out"):
            map_season(folder, Settings(), out, cores=0)
    with pytest.raises(SettingsError, match=r"lies in a field's own folder \(hill\); give another --out"):
        map_season(folder, Settings(), folder / "hill" / "out", cores=0)
    assert made_of(tmp_path) == before
    mapped = tmp_path / "out" / "farm"
    mapped.mkdir(parents=True)
    (mapped / "run.toml").touch()
    with pytest.raises(SettingsError, match="holds the results of a field or a farm"):
        map_season(folder, Settings(), tmp_path / "out", cores=0)


def test_results_inside_the_folder_are_not_searched(tmp_path):
    """`out` beside the fields, even with a field's facts in it, is left alone."""
    folder = plant(tmp_path / "farm", "hill", "out/farm/copy")
    map_season(folder, Settings(), folder / "out", cores=0)
    assert list(rows(folder / "out" / "farm").index) == ["hill"]


def test_results_may_go_into_the_folder_itself(tmp_path):
    """`--out` is the folder of the fields: they are found, the results are not taken for fields, and a second run finds the same."""
    folder = plant(tmp_path / "farm", "hill")
    for _ in range(2):
        map_season(folder, Settings(), folder, cores=0)
        assert list(rows(folder / "farm").index) == ["hill"]


def test_a_folder_without_fields_is_refused(tmp_path):
    """None, a field itself, no folder: each with what to give."""
    (tmp_path / "empty").mkdir()
    with pytest.raises(TooLittleData, match="empty: no field is in it"):
        map_season(tmp_path / "empty", Settings(), tmp_path / "out")
    with pytest.raises(SettingsError, match="nowhere: no such folder"):
        map_season(tmp_path / "nowhere", Settings(), tmp_path / "out")
    plant(tmp_path, "hill")
    with pytest.raises(SettingsError, match="hill: is a field itself"):
        map_season(tmp_path / "hill", Settings(), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_place_that_cannot_be_written_is_said_at_once(mapped, tmp_path):
    """Before any field is mapped."""
    folder, _ = mapped
    (tmp_path / "file").write_text("a file")
    with pytest.raises(WriteError, match="cannot be written to"):
        map_season(folder, Settings(), tmp_path / "file" / "out", cores=0)


@pytest.fixture
def small_disk(tmp_path):
    """A disk of half a megabyte."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=500k", "tmpfs", disk], check=False, capture_output=True).returncode:
        pytest.skip("no disk of its own may be mounted here")
    yield disk
    subprocess.run(["umount", "--lazy", disk], check=True)


def command(*words, limit=None, **more):
    """The command as a program of its own, in a group of its own; `limit` is the largest file it may write [bytes]."""
    start = "import sys; from lossmap.pipelines.command import main; sys.exit(main(sys.argv[1:]))"
    if limit is not None:
        start = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {resource.RLIM_INFINITY})); {start}"
    return subprocess.Popen(
        [sys.executable, "-c", start, "season", *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        **more,
    )


def test_a_full_disk_leaves_what_was_there(mapped_once, small_disk):
    """Fields that find no room fail, those before them stay, and with room the rest is made."""
    folder, _ = mapped_once
    done = command(folder, "--out", small_disk / "out", "--cores", "1")
    _, said = done.communicate(timeout=600)
    assert done.returncode in (2, 3)
    assert "No space left on device" in said
    assert is_whole(small_disk / "out")
    assert not list((small_disk / "out").rglob(".*"))
    subprocess.run(["mount", "-o", "remount,size=20m", small_disk], check=True)
    done = command(folder, "--out", small_disk / "out", "--cores", "1")
    assert done.communicate(timeout=600)[1].count("mapped") >= 1
    assert done.returncode == 0


def test_files_that_may_not_grow_are_told(mapped_once, tmp_path):
    """Where the system allows no file of more than 20 kB (a quota): each field's row says so, and nothing half is left."""
    folder, _ = mapped_once
    done = command(folder, "--out", tmp_path / "out", "--cores", "1", limit=20_000)
    _, said = done.communicate(timeout=600)
    assert done.returncode == 3
    assert len(re.findall(r"points.parquet: cannot be written \(.*File too large", said)) >= 3
    assert not [path for path in (tmp_path / "out").rglob("*") if path.is_file()]


def finished(out):
    """How many fields' results have taken their places, looked at while others do."""
    return sum("run.toml" in files and not Path(folder).parent.name.startswith(".") for folder, _, files in os.walk(out))


def ended(program):
    """Wait until nothing of the program's group is left."""
    program.communicate(timeout=600)
    for _ in range(3000):
        try:
            os.killpg(program.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    raise AssertionError("something of the command is still at work")


@pytest.mark.parametrize(
    ("end", "moments"), [(signal.SIGKILL, (0, 1, 2)), (signal.SIGTERM, (1,)), (signal.SIGINT, (1,))], ids=["kill -9", "kill", "ctrl-c"]
)
def test_whenever_it_ends_the_next_run_goes_on(tmp_path, end, moments):
    """Ended when so many fields are there, with nothing half left each time; at last all is there as if nothing had been."""
    names = [f"f{n}" for n in range(5)]
    folder, out = plant(tmp_path / "farm", *names), tmp_path / "out"
    words = (folder, "--out", out, "--cores", "2")
    for done in moments:
        running = command(*words)
        while finished(out) <= done and running.poll() is None:
            time.sleep(0.02)
        (running.kill if end == signal.SIGKILL else lambda running=running: running.send_signal(end))()
        ended(running)
        assert is_whole(out)
        assert end == signal.SIGKILL or not list(out.rglob(".*"))
        assert end == signal.SIGKILL or running.returncode in (130, 0)
    last = command(*words)
    _, said = last.communicate(timeout=600)
    assert last.returncode == 0
    assert "unchanged, taken over" in said
    assert sorted(stamps(out / "farm")) == names
    assert not list(out.rglob(".*"))


def test_settings_of_the_season_are_read(tmp_path):
    """One TOML a flow: the project's own example is valid."""
    assert read_settings(Path(__file__).resolve().parents[2] / "configs" / "season.toml").season.field_limit > 0


def test_results_that_are_gone_at_the_end_are_a_row(mapped, monkeypatch, caplog):
    """Written, and not here any more: cleared by another, or written to a disk that is not shared; the other fields have their map."""
    folder, out = mapped

    def forgetful(job):
        row = field_row(job)
        if job.field_id == "south/creek":
            shutil.rmtree(job.target)
        return row

    monkeypatch.setattr(module, "field_row", forgetful)
    monkeypatch.setattr(module._log, "propagate", True)
    assert map_season(folder, Settings(), out, cores=0).failed == 1
    error = rows(out / "farm")["error"]
    assert error[error != ""].to_dict() == {
        "south/creek": "its results were there and are gone; run the same again, with --out on storage that all workers share "
        "and that nothing else clears"
    }
    assert "south/creek: its results were there and are gone; run the same again" in caplog.text
    monkeypatch.undo()
    assert map_season(folder, Settings(), out, cores=0).failed == 0


def test_a_season_whose_loss_tracks_speed_is_written(mapped_once, tmp_path):
    """Eight fields whose counts agree: every file of the season is written, and its numbers say so."""
    _, out = mapped_once
    steep = DriverEvidence((0.5, 0.5), (0.8, 0.9), (0.2, 0.2), 1.2, 0.4, 1.8, 2.0, (0.0, 0.5))
    row = read_season_row(out / "farm" / "south" / "creek") | {"error": "", "remade": 1, "seconds": 1.0}
    evidence = replace(row["evidence"], drivers={"speed": steep})
    season = module._season("farm", [row | {"field_id": f"f{n}", "evidence": evidence} for n in range(8)], Settings())
    write_season(season, tmp_path)
    said = json.loads((tmp_path / "summary.json").read_text())["drivers"]["speed"]
    assert said["verdict"] == "tracks"
    assert all(slope["tracks"] for slope in said["by_field"].values())
    assert {path.name for path in tmp_path.iterdir()} == set(SEASON_FILES)


def test_a_verdict_may_rest_on_the_season(mapped):
    """Where the field's own counts cannot say and its slope in the light of all can; the row says which."""
    _, out = mapped
    row = rows(out / "farm").reset_index().iloc[0].to_dict()
    steep = ShrunkenSlope(NOTHING, NOTHING, 0.99, True)
    level = replace(steep, tracks=False)
    pooled = {name: SimpleNamespace(shrunken={row["field_id"]: slope}) for name, slope in (("speed", steep), ("dryness", level))}
    module._borrow(row, SimpleNamespace(drivers=pooled))
    assert (row["speed_verdict"], row["speed_rests_on"]) == ("tracks", "season")
    assert (row["dryness_verdict"], row["dryness_rests_on"]) == ("not enough counts", "own counts")
