"""Files as every report writes them."""

import csv
import io
import json
from functools import partial

import pytest

from lossmap.base.errors import ReadError, WriteError
from lossmap.report.files import csv_text, json_text, write_text, written


def test_text_has_the_same_bytes_everywhere(tmp_path):
    """UTF-8, and the line ends it was given."""
    write_text(tmp_path / "said.txt", "half \u00bd\nnext\n")
    assert (tmp_path / "said.txt").read_bytes() == b"half \xc2\xbd\nnext\n"


def test_a_disk_that_refuses_is_said_with_its_place(tmp_path):
    """Where, why and what to do; what a writer refuses itself passes."""
    place = tmp_path / "nowhere" / "said.txt"
    with pytest.raises(WriteError, match=r"said\.txt: cannot be written \(No such file or directory\); make room"):
        written(place, partial(write_text, text=""), "make room")

    def refusing(path):
        raise ReadError("of its own")

    with pytest.raises(ReadError, match="of its own"):
        written(place, refusing, "make room")


def test_json_is_read_back():
    """Letters stay letters, and what JSON has no word for is refused."""
    text = json_text({"name": "M\u00fchle", "of": [1.5, None]})
    assert text.endswith("}\n")
    assert "M\u00fchle" in text
    assert json.loads(text) == {"name": "M\u00fchle", "of": [1.5, None]}
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text([float("nan")])


def test_a_table_holds_every_column_and_no_formula():
    """Columns that only some rows have, those asked for first; what a spreadsheet would run is text, a number below nought a number."""
    text = csv_text([{"name": "=1+1", "loss": -1.5}, {"name": 'a, "b"', "more": None}], ("loss",))
    assert text.splitlines() == ["loss,name,more", "-1.5,'=1+1,", ',"a, ""b""",']
    for evil in ("+1", "-1", "@A1", "\tx", "\rx"):
        assert csv_text([{"name": evil}]).split("\n", 1)[1].lstrip('"').startswith("'")


def test_a_return_in_a_cell_begins_no_row():
    """Neither a bare one nor a line end: what follows could be a formula."""
    rows = [{"name": "a\r=1+1", "more": "b\r\n=2"}, {"name": "c\n@d", "more": 1}]
    back = list(csv.reader(io.StringIO(csv_text(rows), newline="")))
    assert back == [["name", "more"], ["a\r=1+1", "b\n=2"], ["c\n@d", "1"]]
