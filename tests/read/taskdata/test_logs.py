from __future__ import annotations

import shutil
import struct
import zipfile

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lossmap.base.errors import LossmapError, ReadError
from lossmap.read.taskdata import read_task_data

FIELD = (
    '<PFD A="PFD-1" C="Made north"><PLN A="1"><LSG A="1"><PNT C="41.8999" D="-93.601"/><PNT C="41.8999" D="-93.599"/>'
    '<PNT C="41.901" D="-93.599"/><PNT C="41.901" D="-93.601"/></LSG></PLN></PFD>'
)
CLOCK = "td, TLG00001: the clock states no zone and is taken as UTC: steps are right, the hour of day may not be"


def test_the_made_set_is_read_to_its_truth(open_data):
    """600 records at 1 Hz: flow, yield, moisture, speed, width, work, loss signal, place and time as its README states them."""
    (log,) = read_task_data(open_data("task-data-made"), "td").logs
    k = np.arange(600)
    held = k != 300
    fifth = held & (k % 5 == 0)
    columns = log.columns
    assert len(columns) == 600

    def check(name, expected, where):
        np.testing.assert_allclose(columns[name], np.where(where, expected, np.nan), rtol=1e-9, err_msg=name)

    check("mass_flow_kg_s", np.floor((12 + 0.5 * np.sin(k / 20)) * 1e6) * 1e-6, held)
    check("moisture_pct", 17.5 + k * 1e-4, held)
    check("speed_m_s", 1.5, held)
    check("width_m", 9.0, k >= 0)
    check("work", 1.0, k >= 0)
    check("loss_sensor_count_m2", 22.5, fifth)
    check("loss_sensor_kg_ha", 62.0, fifth)
    check("interval_s", 1.0, k > 0)
    check("distance_m", 1.5, held & (k > 0))
    np.testing.assert_allclose(log.latitude, 41.9 + 1.5 * k / 111_320, atol=1e-7)
    np.testing.assert_allclose(log.longitude, -93.6, atol=1e-9)
    # the receiver's clock in the records runs 5 h ahead of the machine's
    assert columns["time"].iloc[0] == pd.Timestamp("2026-10-05T17:00:00Z")
    assert log.machine == "Combine"


def test_the_zip_is_the_folder(open_data):
    """Three real logs, one with positions only: the zip gives the same values, times and notes."""
    folder = read_task_data(open_data("task-data-forage/road-travel"), "td")
    packed = read_task_data(open_data("task-data-forage/road-travel/TASKDATA.zip"), "td")
    assert [log.name for log in folder.logs] == ["TLG00001", "TLG00002", "TLG00003"]
    for one, other in zip(folder.logs, packed.logs, strict=True):
        pd.testing.assert_frame_equal(one.columns, other.columns)
        np.testing.assert_array_equal(one.longitude, other.longitude)
    assert folder.notes == packed.notes


def test_an_open_log_on_the_road(open_data):
    """Work off, yield zero, 12 m wide from one record on, 9 m/s, clock two hours ahead of UTC."""
    first = read_task_data(open_data("task-data-forage/road-travel"), "td").logs[0]
    assert str(first.columns["time"].iloc[0]) == "2022-01-02 17:30:25.104000+00:00"
    assert first.columns["work"].dropna().unique().tolist() == [0.0]
    assert first.columns["mass_flow_kg_s"].max() == 0
    assert first.columns["width_m"].dropna().unique().tolist() == [12.0]
    assert first.columns["width_m"].isna().sum() == 1
    assert 387 < first.columns["elevation_m"].median() < 437


def test_an_open_log_brings_its_fields_boundary(open_data):
    """The boundary is that of the field its task names."""
    found = read_task_data(open_data("task-data-forage/field-work"), "td", "PFD-2")
    assert found.edge.bounds == pytest.approx((10.206895, 54.580684, 10.211928, 54.583076), abs=1e-6)


def test_south_west_and_all_fields_of_the_position(made, task_folder):
    """Nine position fields below the equator and west of Greenwich; the receiver's time is UTC."""
    position = " ".join(f'{name}=""' for name in "ABCDEFGHI")
    places = [(-333_000_000 - 10 * k, -704_000_000 + 10 * k, 500_250, 4, 12, 8, 14, 54_000_000 + 1000 * k, 16_726) for k in range(3)]
    content = b"".join(made.record(k, {0: 9_000_000}, place, "ABCDEFGHI") for k, place in enumerate(places))
    (log,) = read_task_data(task_folder(header=made.header(["0057"], position), binary=content), "td").logs
    assert log.latitude.tolist() == pytest.approx([-33.3, -33.300001, -33.300002])
    assert log.longitude.tolist() == pytest.approx([-70.4, -70.399999, -70.399998])
    assert log.columns["elevation_m"].tolist() == [500.25] * 3
    assert str(log.columns["time"].iloc[2]) == "2025-10-17 15:00:02+00:00"


def test_constants_in_the_header(made, task_folder):
    """Width, moisture and height that the header states stand in every record, also in one without a value."""
    header = made.header(["0057", ("0043", "9144", "DET-1"), ("0063", "155000", "DET-1")], 'A="" B="" C="310000" D="1"')
    content = b"".join(made.record(k, {0: 1} if k else {}, (419_000_000 + k, -936_000_000), "AB") for k in range(3))
    columns = read_task_data(task_folder(header=header, binary=content), "td").logs[0].columns
    assert columns["width_m"].tolist() == [9.144] * 3
    assert columns["moisture_pct"].tolist() == pytest.approx([15.5] * 3)
    assert columns["elevation_m"].tolist() == [310.0] * 3
    assert columns["mass_flow_kg_s"].isna().tolist() == [True, False, False]


def test_names_in_any_letter_case(made, tmp_path):
    """Lower-case files in a zip with a folder are what upper-case files in a folder are."""
    folder = made.write(tmp_path / "upper")
    packed = tmp_path / "task.zip"
    with zipfile.ZipFile(packed, "w") as out:
        for name in ("TASKDATA.XML", "TLG00001.xml", "TLG00001.bin"):
            out.write(folder / name, f"Export/TaskData/{name.swapcase()}")
    expected, found = read_task_data(folder, "td"), read_task_data(packed, "td")
    pd.testing.assert_frame_equal(expected.logs[0].columns, found.logs[0].columns)


def test_each_log_is_of_the_machine_its_parts_belong_to(made, task_folder):
    """Two combines in one task: each log carries its own one's name, alike names are told apart by id."""
    devices = '<DVC A="DVC-1" B="Red"><DET A="DET-1" C="1"/></DVC><DVC A="DVC-2" B="{}"><DET A="DET-9" C="1"/></DVC>'
    task = '<TSK A="T"><TLG A="TLG00001"/><TLG A="TLG00002"/></TSK>'
    second = {"TLG00002.xml": made.header([("0057", "", "DET-9")]), "TLG00002.bin": made.drive(4)}
    for name, expected in (("Blue", ["Red", "Blue"]), ("Red", ["Red DVC-1", "Red DVC-2"])):
        folder = task_folder(second, name, taskdata=made.taskdata(devices.format(name), task))
        assert [log.machine for log in read_task_data(folder, "td").logs] == expected


def test_a_log_whose_parts_nobody_knows_takes_the_tasks_machine(made, task_folder):
    """Parts that TASKDATA.XML does not describe: the task's device, if it names one alone; else none."""
    devices = '<DVC A="DVC-1" B="Red"/><DVC A="DVC-2" B="Blue"/>'
    for allocated, expected in (('<DAN C="DVC-2"/>', "Blue"), ("", "")):
        task = f'<TSK A="T">{allocated}<TLG A="TLG00001"/></TSK>'
        assert read_task_data(task_folder(taskdata=made.taskdata(devices, task)), "td").logs[0].machine == expected


def test_a_cut_log_keeps_its_whole_records_and_names_the_byte(made, task_folder):
    """What was read is kept; the note says where the log, file and byte are, and what TASKDATA.XML promised."""
    task = '<TSK A="T"><TLG A="TLG00001" B="210"/></TSK>'
    found = read_task_data(task_folder(binary=made.drive(10)[:-3], taskdata=made.taskdata(made.device, task)), "td")
    assert len(found.logs[0].columns) == 9
    assert found.notes == (
        "td, TLG00001: the binary ends within a record at byte 189 of 207: the 9 records before it are kept",
        "td, TLG00001: the binary has only 207 of the 210 bytes that TASKDATA.XML states",
        CLOCK,
    )


@pytest.mark.parametrize(
    ("file", "content", "words"),
    [
        ("TLG00002.xml", "<TIM", "td/TLG00002.xml: is not well-formed XML"),
        ("TLG00002.bin", b"", "td/TLG00002.bin: holds no record; copy it from the machine again"),
        ("TLG00002.bin", b"12345", "td/TLG00002.bin: ends within a record at byte 0 of 5; copy it from the machine again"),
        ("TLG00002.bin", None, "td: a file of TLG00002 is missing (TASKDATA.XML lists it); copy the whole folder again"),
    ],
)
def test_a_fault_of_one_log_is_a_note_and_of_all_an_error(made, task_folder, file, content, words):
    """A broken header, an empty, cut or missing binary: said if another log remains, refused with the same words if none does."""
    task = '<TSK A="T"><TLG A="TLG00001"/><TLG A="TLG00002"/></TSK>'
    second = {"TLG00002.xml": made.header(["0057"]), "TLG00002.bin": made.drive(4), file: content}
    folder = task_folder(second, taskdata=made.taskdata(made.device, task))
    found = read_task_data(folder, "td")
    assert [log.name for log in found.logs] == ["TLG00001"]
    assert any(note.startswith(words) for note in found.notes)
    (folder / "TLG00001.bin").unlink()
    with pytest.raises(ReadError) as refused:
        read_task_data(folder, "td")
    lines = str(refused.value).splitlines()
    assert any(line.startswith(words.replace("TLG00002 is", "TLG00001, TLG00002 is")) for line in lines)
    assert any("TLG00001" in line for line in lines)


def test_a_task_without_an_id_lists_its_logs_all_the_same(made, task_folder):
    """What is unlisted follows from the tasks, not from how they are named."""
    found = read_task_data(task_folder(taskdata=made.taskdata(made.device, '<TSK><TLG A="TLG00001"/></TSK>')), "td")
    assert [log.name for log in found.logs] == ["TLG00001"]
    assert found.notes == (CLOCK,)


def test_thousands_of_logs_and_parts(made, task_folder):
    """A list of 15,000 logs of which one is there, and 2,000 parts with constants: read, and said in one line."""
    listed = "".join(f'<TLG A="TLG{k:05d}"/>' for k in range(1, 15_001))
    parts = "".join(f'<DET A="DET-{k}" C="4"><DOR A="{k}"/></DET><DPT A="{k}" B="{k + 0x1000:04X}" C="5"/>' for k in range(1, 2_001))
    taskdata = made.taskdata(f'<DVC A="DVC-1" B="x">{parts}</DVC>', f"<TSK A='T'>{listed}</TSK>")
    found = read_task_data(task_folder(taskdata=taskdata), "td")
    assert len(found.logs) == 1
    assert found.notes[0].startswith("td: a file of TLG00002, TLG00003, TLG00004 and 14996 more is missing")


def test_one_note_for_all_logs_it_is_true_of(made, task_folder):
    """Five logs without a zone are one line."""
    names = [f"TLG0000{k}" for k in range(1, 6)]
    files = {f"{name}{end}": content for name in names for end, content in ((".xml", made.header(["0057"])), (".bin", made.drive(3)))}
    task = f'<TSK A="T">{"".join(f"<TLG A={name!r}/>" for name in names)}</TSK>'
    found = read_task_data(task_folder(files, taskdata=made.taskdata(made.device, task)), "td")
    assert found.notes == (CLOCK.replace("TLG00001:", "TLG00001, TLG00002, TLG00003 and 2 more:"),)


def test_what_no_map_can_be_made_of_is_refused(made, task_folder):
    """No log at all, none with yield, none with a position."""
    with pytest.raises(ReadError, match=r"^td: lists no time log; export task data that hold the harvest's logs$"):
        read_task_data(task_folder(name="a", header=None, binary=None, taskdata=made.taskdata(made.device)), "td")
    with pytest.raises(ReadError, match=r"^td: no time log holds yield or mass flow \(DDI 0054, 0057; 0053, 0056 with the density 0079\)"):
        read_task_data(task_folder(name="b", header=made.header(["0043"])), "td")
    nowhere = b"".join(made.record(k, {0: 1}, (0, 0, 0)) for k in range(3))
    with pytest.raises(ReadError, match=r"^td: no record of its time logs has a position; give task data logged with a receiver$"):
        read_task_data(task_folder(name="c", binary=nowhere), "td")


def test_the_edge_is_the_tasks_field_or_the_only_one(made, task_folder):
    """The field a task names; without a name the only field there is; of several unnamed none."""
    other = FIELD.replace("PFD-1", "PFD-2").replace("41.9", "45.9").replace("41.8999", "45.8999")
    named = made.task.replace('G="4"', 'G="4" E="PFD-1"')
    cases = ((FIELD + other, named, True), (FIELD, made.task, True), (FIELD + other, made.task, False), ("", named, False))
    for number, (fields, task, has) in enumerate(cases):
        found = read_task_data(task_folder(name=str(number), taskdata=made.taskdata(fields, made.device, task)), "td")
        assert (found.edge is not None) == has
    assert read_task_data(task_folder(taskdata=made.taskdata(FIELD, made.device, named)), "td").edge.bounds == (
        -93.601,
        41.8999,
        -93.599,
        41.901,
    )


def test_an_edge_elsewhere_is_not_used_and_said(made, task_folder):
    """The operator chose another field: its boundary holds none of the records."""
    away = FIELD.replace("-93.6", "-92.6")
    found = read_task_data(task_folder(taskdata=made.taskdata(away.replace("-93.599", "-92.599"), made.device, made.task)), "td")
    assert found.edge is None
    assert "td: the boundary of field PFD-1 Made north is not used: only 0 % of the records lie in it" in found.notes


def test_stated_timing_is_numbered_by_log(made, task_folder):
    """Latency and ignore times come with the number of their log."""
    files = {"TLG00002.xml": made.header(["0057", ("008F", "8000", "DET-1"), "0103"]), "TLG00002.bin": made.record(0, {0: 1, 2: 2500})}
    task = '<TSK A="T"><TLG A="TLG00001"/><TLG A="TLG00002"/></TSK>'
    first, second = (log.timing for log in read_task_data(task_folder(files, taskdata=made.taskdata(made.device, task)), "td").logs)
    assert not first
    assert (second.log, second.latency_s, second.lag_ignore_s) == (1, 8.0, 2.5)


@pytest.fixture(scope="module")
def whole_set(made, tmp_path_factory):
    """A made set with everything the reader looks at, and a folder to break copies of it in."""
    folder = tmp_path_factory.mktemp("fuzz")
    device = (
        '<DVC A="DVC-1" B="Made"><DET A="DET-1" B="1" C="1" F="0"><DOR A="10"/><DOR A="11"/></DET>'
        '<DPT A="10" B="0046" C="9000"/><DPT A="11" B="008F" C="7000"/></DVC>'
    )
    task = (
        '<TSK A="TSK-1" B="x" E="PFD-1"><DAN C="DVC-1"/><TIM A="2025-10-17T10:00:00Z" D="4"><DLV A="005A" B="90"/></TIM>'
        '<TLG A="TLG00001" B="900"/></TSK>'
    )
    header = made.header(
        ["0057", "0063", "0043", "008D", "00A1", "0056", "0079", "005E", ("0074", "0", "DET-1")], 'A="" B="" D="" H="" I=""'
    )
    content = b"".join(
        made.record(k, {i: 9000 + i for i in range(k % 8)}, (419_000_000 + k, -936_000_000, 1, 36_000_000 + 1000 * k, 16_726), "ABDHI")
        for k in range(20)
    )
    files = {"CTR00001.XML": "<XFC><CTR/></XFC>"}
    made.write(folder / "whole", files, taskdata=made.taskdata('<XFR A="CTR00001"/>', FIELD, device, task), header=header, binary=content)
    return folder


EDITS = st.lists(
    st.tuples(st.floats(0, 1), st.sampled_from(["set", "drop", "double", "cut"]), st.binary(min_size=1, max_size=6)), min_size=1, max_size=6
)


@settings(max_examples=200, deadline=10_000, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True)
@given(edits=st.dictionaries(st.sampled_from(["TASKDATA.XML", "TLG00001.xml", "TLG00001.bin", "CTR00001.XML"]), EDITS, min_size=1))
def test_no_damage_raises_anything_but_our_own(whole_set, edits):
    """Whatever is overwritten, dropped, doubled or cut in any file: logs or a refusal, never a foreign error, never a hang."""
    folder = whole_set / "broken"
    shutil.copytree(whole_set / "whole", folder, dirs_exist_ok=True)
    for name, changes in edits.items():
        content = bytearray((folder / name).read_bytes())
        for share, how, new in changes:
            at = int(share * len(content))
            if how == "set":
                content[at : at + len(new)] = new
            elif how == "drop":
                del content[at : at + len(new)]
            elif how == "double":
                content[at:at] = content[at : at + 20 * len(new)]
            else:
                del content[at:]
        (folder / name).write_bytes(bytes(content))
    try:
        found = read_task_data(folder, "td")
    except LossmapError as refusal:
        assert str(refusal).startswith("td")
    else:
        assert all(len(log.columns) == len(log.longitude) > 0 for log in found.logs)


@settings(max_examples=100, deadline=10_000, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True)
@given(content=st.binary(max_size=400), logged=st.integers(0, 9))
def test_any_bytes_are_records_or_a_refusal(whole_set, made, content, logged):
    """A binary of any bytes under any header."""
    folder = whole_set / "broken"
    shutil.copytree(whole_set / "whole", folder, dirs_exist_ok=True)
    (folder / "TLG00001.bin").write_bytes(content)
    (folder / "TLG00001.xml").write_text(made.header(["0057", "0043", "008D", "00A1", "0063", "018D", "005A", "008F", "005D"][:logged]))
    try:
        read_task_data(folder, "td")
    except LossmapError as refusal:
        assert str(refusal).startswith("td")


def test_a_large_log_is_read_whole(made, task_folder):
    """A million valueless records, and at the end one that claims 255 values it does not have."""
    content = struct.pack("<IHiiBB", 0, 16_726, 1, 1, 1, 0) * 1_000_000 + struct.pack("<IHiiBB", 0, 16_726, 1, 1, 1, 255)
    (log,) = read_task_data(task_folder(binary=made.record(0, {0: 1}) + content), "td").logs
    assert len(log.columns) == 1_000_001
