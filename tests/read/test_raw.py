from __future__ import annotations

import os

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from lossmap.base.errors import ReadError
from lossmap.base.tables import Column, Contract
from lossmap.read import raw as raw_module
from lossmap.read.raw import Raw, checked, column_numbers, crs_of, plain_file, refuse_records


def test_numbers_of_a_text_column():
    """Text that holds numbers and blanks is numbers and gaps."""
    raw = Raw("log.csv", pd.DataFrame({"v": ["1.5", "", None, " 2 "]}), 2)
    assert column_numbers(raw, "v") == pytest.approx([1.5, np.nan, np.nan, 2.0], nan_ok=True)


def test_the_first_of_many_wrong_values_is_shown_on_one_line():
    """A value with a line break and control characters is shown safely, with how many there are."""
    raw = Raw("log.csv", pd.DataFrame({"v": ["1", "a\nb\x1b[31m", "c"]}), 2)
    with pytest.raises(ReadError) as refused:
        column_numbers(raw, "v")
    assert "row 3" in str(refused.value)
    assert "(2 such rows)" in str(refused.value)
    assert "\n" not in str(refused.value)
    assert "\x1b" not in str(refused.value)


@pytest.mark.parametrize(
    ("value", "written"), [(1e15, "1e15"), (-np.inf, "-inf"), (1e308, "1e308"), (1234567890123456.0, "1234567890123456")]
)
def test_a_number_no_machine_writes_is_refused_at_the_door(value, written):
    """A sentinel or an infinite value is named by row and column, with the words that make it a gap."""
    raw = Raw("log.csv", pd.DataFrame({"v": [1.0, value, value]}), 2)
    with pytest.raises(ReadError) as refused:
        column_numbers(raw, "v")
    assert str(refused.value) == (
        f'log.csv, row 3: v {written} is no number a machine writes (2 such rows); if it means "no value", '
        f'set missing = ["{written}"] beside path in field.toml'
    )


def test_text_that_is_infinite_is_refused_as_it_stands():
    """In a column of text the value is shown as it was written."""
    with pytest.raises(
        ReadError, match=r'row 3: v Infinity is no number a machine writes; if it means "no value", set missing = \["Infinity"\]'
    ):
        column_numbers(Raw("log.csv", pd.DataFrame({"v": ["1", "Infinity", ""]}), 2), "v")


def test_a_column_of_words_is_not_offered_as_gaps():
    """Where every value is text, calling one of them missing would help nobody."""
    with pytest.raises(ReadError) as refused:
        column_numbers(Raw("log.csv", pd.DataFrame({"v": ["red", "blue"]}), 2), "v")
    assert str(refused.value) == 'log.csv, row 2: v "red" is not a number (2 such rows); the whole column holds text, so choose another'


def test_a_broken_contract_is_said_of_the_file_and_its_rows():
    """The contract counts from 0, the file from its header on."""
    raw = Raw("creek/log.csv", pd.DataFrame({"v": [1.0, 1.0]}), 5)
    table = gpd.GeoDataFrame({"v": [1.0, 7.0]}, geometry=shapely.points([1, 2], [3, 4]), crs=4326)
    with pytest.raises(ReadError) as refused:
        checked(table, Contract("MADE", "one row", "Point", (Column("v", "made", unit="m", least=0, most=2),)), raw)
    assert str(refused.value) == "creek/log.csv: v must lie between 0 and 2 m; 1 do not, the first in row 6 (7); correct the file"


def test_an_unknown_system_is_refused():
    """A typed coordinate system that is none names a good example."""
    with pytest.raises(ReadError, match='crs "EPSG:99999999" is not known; write for example "EPSG:4326"'):
        crs_of("EPSG:99999999", "creek/points.csv")


def test_what_is_no_file_with_something_in_it(tmp_path, monkeypatch):
    """A pipe, which would be waited for, a folder, an empty and a huge file, and one that is gone."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "empty").touch()
    (tmp_path / "huge").write_bytes(bytes(10))
    monkeypatch.setattr(raw_module, "MOST_BYTES", 5)
    for name, message in {
        "pipe": "is a pipe or device, not a file",
        ".": "is a folder, not a file",
        "empty": r"is empty \(0 bytes\)",
        "huge": "is too large for one field",
        "gone": r"cannot be read \(No such file or directory\)",
    }.items():
        with pytest.raises(ReadError, match=f"^made: {message}"):
            plain_file(tmp_path / name, "made")


def test_more_records_than_a_field_has():
    """Said before they fill the memory."""
    refuse_records(2_000_000, "made")
    with pytest.raises(ReadError, match=r"^made: holds 2,000,001 records, more than one field has \(at most 2,000,000 are read\)"):
        refuse_records(2_000_001, "made")
