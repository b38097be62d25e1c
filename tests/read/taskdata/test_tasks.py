from __future__ import annotations

import datetime

import pytest

from lossmap.base.errors import ReadError
from lossmap.read.taskdata.archive import opened
from lossmap.read.taskdata.tasks import Device, described


def read(folder):
    """The description of a folder."""
    with opened(folder, "td") as archive:
        return described(archive)


def test_elements_know_their_machine_and_its_constants(made, task_folder):
    """Two devices with their parts; a part has the constants it refers to, and no others."""
    second = (
        '<DVC A="DVC-2" B="Other"><DET A="DET-9" B="1" C="2" F="0"><DOR A="7"/><DOR A="8"/></DET>'
        '<DPT A="7" B="0043" C="6000"/><DPT A="9" B="0046" C="9000"/><DPD A="8" B="0057"/></DVC>'
    )
    found = read(task_folder(taskdata=made.taskdata(made.device, second, made.task)))
    assert found.elements["DET-1"].device == Device("DVC-1", "Made combine")
    assert found.elements["DET-9"].device == Device("DVC-2", "Other")
    assert found.elements["DET-9"].kind == 2
    assert found.elements["DET-9"].constants == {0x43: 6000}


def test_logs_know_their_task_field_and_start(made, task_folder):
    """Log to stretch of work one by one where they are as many; starts in UTC only where the zone is stated."""
    task = (
        '<TSK A="TSK-1" B="North" E="PFD-1"><DAN A="A0" C="DVC-1"/>'
        '<TIM A="2025-10-17T12:00:00+02:00" D="4"><DLV A="005A" B="100"/></TIM><TLG A="tlg00001" B="210"/>'
        '<TIM A="2025-10-17T11:30:00Z" D="4"><DLV A="005A" B="260"/></TIM><TLG A="TLG00002"/>'
        '<TIM A="2025-10-17T08:00:00Z" D="1"/></TSK><TSK A="TSK-2"><TIM A="2025-10-17T12:00:00" D="4"/><TLG A="TLG00003"/></TSK>'
    )
    first, second, third = read(task_folder(taskdata=made.taskdata(made.device, task))).logs[:3]
    assert (first.name, first.task, first.task_name, first.field, first.stated_bytes) == ("TLG00001", "TSK-1", "North", "PFD-1", 210)
    assert first.begins == (datetime.datetime(2025, 10, 17, 10, tzinfo=datetime.UTC),)
    assert second.begins == (datetime.datetime(2025, 10, 17, 11, 30, tzinfo=datetime.UTC),)
    assert (first.totals, second.totals) == ({0x5A: 100}, {0x5A: 160})
    assert third.begins == ()
    assert third.devices == ()


def test_a_split_file_is_put_together(made, task_folder):
    """Devices and tasks in files of their own, named in any letter case; one that is missing is said."""
    files = {"dvc00001.XML": f"<XFC>{made.device}</XFC>", "Tsk00001.xml": f"<XFC>{made.task}</XFC>"}
    names = ("DVC00001", "TSK00001", "PFD00001", "../TSK00001", "TSK00001")
    references = "".join(f'<XFR A="{name}" B="1"/>' for name in names)
    found = read(task_folder(files, taskdata=made.taskdata(references)))
    assert [log.name for log in found.logs] == ["TLG00001"]
    assert "DET-1" in found.elements
    assert found.notes == (
        "td: holds no pfd00001.xml; copy the whole folder from the machine",
        "td: holds no ../tsk00001.xml; copy the whole folder from the machine",
    )


def test_a_split_file_that_is_no_xml_is_said(made, task_folder):
    """A broken part does not take the others with it."""
    found = read(task_folder({"CTR00001.XML": "<XFC><CTR"}, taskdata=made.taskdata('<XFR A="CTR00001" B="1"/>', made.device, made.task)))
    assert len(found.logs) == 1
    assert found.notes[0].startswith("td/CTR00001.XML: is not well-formed XML")


def test_a_file_that_holds_itself_does_not_grow(made, task_folder):
    """A part referring to parts, even to itself, is read once."""
    part = f'<XFC><XFR A="TSK00001"/>{made.task}</XFC>'
    found = read(task_folder({"TSK00001.XML": part}, taskdata=made.taskdata('<XFR A="TSK00001"/><XFR A="TASKDATA"/>')))
    assert [log.name for log in found.logs] == ["TLG00001"]


def test_unlisted_logs_are_listed_last(task_folder):
    """Files of a log that no task names are known, without a task; half a pair is not."""
    found = read(task_folder({"tlg00007.BIN": b"x", "TLG00007.XML": "<x/>", "TLG00008.bin": b"x"}))
    assert [(log.name, log.task) for log in found.logs] == [("TLG00001", "TSK-1"), ("TLG00007", "")]


def test_something_else_is_refused(task_folder):
    """XML of another kind, and XML cut off."""
    with pytest.raises(ReadError, match=r"^td/TASKDATA\.XML: is no ISO 11783-10 task data \(its root is not ISO11783_TaskData\)"):
        read(task_folder(taskdata="<gpx/>"))
    with pytest.raises(ReadError, match=r"^td/TASKDATA\.XML: is not well-formed XML"):
        read(task_folder(taskdata="<ISO11783_TaskData><TSK"))


@pytest.mark.parametrize("start", ["", "yesterday", "2025-10-17", "0001-01-01T00:00:00+14:00", "2025-13-40T00:00:00Z"])
def test_a_start_that_is_no_moment_is_none(made, task_folder, start):
    """Dates alone, nonsense and moments before the calendar give no start."""
    task = f'<TSK A="T"><TIM A="{start}" D="4"/><TLG A="TLG00001"/></TSK>'
    assert read(task_folder(taskdata=made.taskdata(task))).logs[0].begins == ()
