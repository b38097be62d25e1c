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
        ("", "log.csv: is empty; it should hold a header line and one line a record"),
        ("a,b\n", "log.csv: holds a header line and no record; check the export"),
        ("1,2\n3,4\n", "log.csv: its first line holds numbers, not names; add a header line"),
        ("a,b\n1,2\n3,4,5\n", "log.csv: row 3 has 3 values, the header 2 names; each row needs as many values as the header has names"),
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


def test_equal_names_stay_apart(tmp_path):
    """Two columns of one name are both kept, under names that differ."""
    file = tmp_path / "log.csv"
    file.write_text("a,a\n1,2\n")
    assert list(read_csv(file, "log.csv").columns) == ["a", "a #2"]
