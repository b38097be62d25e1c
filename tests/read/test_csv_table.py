from __future__ import annotations

import pytest

from lossmap.base.errors import ReadError
from lossmap.read.csv_table import read_csv

TABLE = "place;speed (km/h);note\n1;7,5;quiet\n2;8,25;\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings_and_decimal_commas(tmp_path, encoding):
    """Semicolons with decimal commas are numbers in every encoding old and new programs write."""
    file = tmp_path / "log.csv"
    file.write_bytes(TABLE.replace("quiet", "Bäche").encode(encoding))
    raw = read_csv(file, "log.csv")
    assert raw.columns["speed (km/h)"].tolist() == [7.5, 8.25]
    assert raw.columns["note"].iloc[0] == "Bäche"


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separators(tmp_path, separator):
    """The separator is found, not asked for, also where text in quotes holds another."""
    file = tmp_path / "log.txt"
    rows = [["a", "b", "c"], ["1.5", '"x, y; z"', "2"], ["2.5", "u", "3"]]
    file.write_text("\n".join(separator.join(row) for row in rows))
    raw = read_csv(file, "log.txt")
    assert raw.columns["a"].tolist() == [1.5, 2.5]
    assert raw.columns["b"].iloc[0] == "x, y; z"


def test_missing_words_are_missing(tmp_path):
    """A word named as missing is a gap; without that it stays text."""
    file = tmp_path / "log.csv"
    file.write_text("a,b\n1,2\nn/a,3\n")
    assert read_csv(file, "log.csv", ["n/a"]).columns["a"].isna().tolist() == [False, True]
    assert read_csv(file, "log.csv").columns["a"].tolist() == ["1", "n/a"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "log.csv: is empty (0 bytes); export it again"),
        (" \n\n", "log.csv: is empty; it should hold a header line and one line a record"),
        ("a,b\n", "log.csv: holds a header line and no record; check the export"),
        ("1,2\n3,4\n", "log.csv: its first line holds numbers, not names; add a header line"),
        ("a,b\n1,2\n3,4,5\n", "log.csv: row 3 has 3 values, the header 2 names; each row needs as many values as the header has names"),
        (
            'a,b\n1,2\n3,"x\n4,5\n',
            "log.csv: row 3 opens a quote that is never closed; close it, or delete it",
        ),
        (
            "\n  \na,b\n1,2,3\n4,5,6\n",
            "log.csv: row 4 has 3 values, the header 2 names; each row needs as many values as the header has names",
        ),
        (
            "a," + "x" * 200_000 + "\n1,2\n",
            "log.csv: its header line cannot be cut into names (one is longer than 131,072 characters, or a quote is not closed); "
            "write short names",
        ),
        ("a\0b", "log.csv: is not a text table; if it is another format, give it that format's ending"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path, text, message):
    """Empty, headless, ragged and binary files each say what is wrong and what to do."""
    file = tmp_path / "log.csv"
    file.write_text(text)
    with pytest.raises(ReadError) as refused:
        read_csv(file, "log.csv")
    assert str(refused.value) == message


@pytest.mark.parametrize(
    ("header", "names"),
    [('"Time\n(UTC)",b', ["Time (UTC)", "b"]), ("a\x0b,b", ["a", "b"]), ("a\u2028b,c", ["a b", "c"]), ('a, "b, c"', ["a", "b, c"])],
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_header_may_hold_what_splits_lines_elsewhere(tmp_path, header, names, end):
    """Names in quotes may run over lines; other control characters in a name are blanks."""
    file = tmp_path / "log.csv"
    file.write_bytes(f"{header}{end}1,2{end}3,4{end}".encode())
    read = read_csv(file, "log.csv").columns
    assert list(read.columns) == names
    assert read.to_numpy().tolist() == [[1, 2], [3, 4]]


@pytest.mark.parametrize("blank", ["\n", " \r\n\r\n", "\t\n"])
def test_blank_lines_above_the_header_are_passed_over(tmp_path, blank):
    """The table starts at its header, and its rows keep the file's numbers."""
    file = tmp_path / "log.csv"
    file.write_bytes((blank + "a,b\n1,2\n").encode())
    raw = read_csv(file, "log.csv")
    assert raw.columns.to_numpy().tolist() == [[1, 2]]
    assert raw.first_row == 2 + blank.count("\n")


@pytest.mark.parametrize("hint", ["sep=;\n", '"sep=;"\r\n', "SEP=;\n\n"])
def test_a_spreadsheets_hint_is_no_header(tmp_path, hint):
    """sep=; above the header, as spreadsheets write it, is passed over, and rows keep the file's numbers; a column may be called so."""
    file = tmp_path / "log.csv"
    file.write_bytes((hint + "a;b\n1;2\n").encode())
    raw = read_csv(file, "log.csv")
    assert list(raw.columns.columns) == ["a", "b"]
    assert raw.columns.to_numpy().tolist() == [[1, 2]]
    assert raw.first_row == 2 + hint.count("\n")
    file.write_text("sep=,b\n1,2\n")
    assert list(read_csv(file, "log.csv").columns.columns) == ["sep=", "b"]


def test_a_long_value_is_a_value(tmp_path):
    """A text longer than the csv module takes is read, and the separator and decimal comma still found."""
    file = tmp_path / "log.csv"
    file.write_text("a;b\n1,5;" + "x" * 200_000 + "\n2,5;y\n")
    read = read_csv(file, "log.csv").columns
    assert read["a"].tolist() == [1.5, 2.5]
    assert len(read["b"].iloc[0]) == 200_000


def test_equal_names_stay_apart(tmp_path):
    """Two columns of one name are both kept, under names that differ."""
    file = tmp_path / "log.csv"
    file.write_text("a,a\n1,2\n")
    assert list(read_csv(file, "log.csv").columns) == ["a", "a #2"]
