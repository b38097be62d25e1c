"""Which logs of an export are read."""

from __future__ import annotations

import pytest
from read.taskdata.test_logs import FIELD

from lossmap.base.errors import ReadError
from lossmap.read.taskdata import read_task_data

TWO_TASKS = '<TSK A="TSK-1" B="First" E="PFD-1"><TLG A="TLG00001"/></TSK><TSK A="TSK-2" B="Second" E="PFD-2"><TLG A="TLG00002"/></TSK>'


def test_logs_of_several_fields_are_asked_for(open_data):
    """A season in one folder: its fields are named, one is chosen by id, name, task or log; sixteen logs that are missing are one note."""
    folder = open_data("task-data-forage/field-work")
    with pytest.raises(ReadError) as refused:
        read_task_data(folder, "td")
    assert str(refused.value) == (
        "td: holds logs of 3 fields (PFD-2 5uvmpgDU, PFD-7 euDZYo7, PFD-15 Ic0sOTU2Rf0gjiYGAH); "
        'name one beside path, for example layer = "PFD-2"'
    )
    for layer in ("PFD-7", "euDZYo7", "TSK6", "jk", "TLG00006"):
        assert [log.name for log in read_task_data(folder, "td", layer).logs] == ["TLG00006"]
    with pytest.raises(ReadError, match=r"^td: has no field, task or log PFD-77; did you mean PFD-7\?$"):
        read_task_data(folder, "td", "PFD-77")
    with pytest.raises(ReadError, match=r"^td: a file of TLG00003 is missing \(TASKDATA.XML lists it\); copy the whole folder again$"):
        read_task_data(folder, "td", "PFD-4")


def test_an_unlisted_log_is_left_out_and_said(made, task_folder):
    """Files that no task names may be of another field: read only when asked for by name."""
    folder = task_folder({"tlg00005.bin": made.drive(7), "tlg00005.xml": made.header(["0057"])})
    found = read_task_data(folder, "td")
    assert [log.name for log in found.logs] == ["TLG00001"]
    assert found.notes[0] == (
        'td: no task lists TLG00005, so it was left out; if it is of this field, add a [[points]] with layer = "TLG00005"'
    )
    assert len(read_task_data(folder, "td", "TLG00005").logs[0].columns) == 7


def test_two_fields_in_one_export(made, task_folder):
    """Each field's logs alone, by the layer that names it."""
    files = {"TLG00002.xml": made.header(["0057"]), "TLG00002.bin": made.drive(4)}
    folder = task_folder(files, taskdata=made.taskdata(FIELD, made.device, TWO_TASKS))
    with pytest.raises(
        ReadError, match=r'holds logs of 2 fields \(PFD-1 Made north, PFD-2\); name one beside path, for example layer = "PFD-1"'
    ):
        read_task_data(folder, "td")
    assert [log.name for log in read_task_data(folder, "td", "Made north").logs] == ["TLG00001"]
    assert [log.name for log in read_task_data(folder, "td", "PFD-2").logs] == ["TLG00002"]
