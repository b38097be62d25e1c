from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.read.taskdata.header import header_of
from lossmap.read.taskdata.records import records_of

# name, records: counted by hand from the files' lengths and headers (formats of the open set)
FORAGE = [
    ("field-work/TLG00001", 4_716),
    ("field-work/TLG00006", 187),
    ("field-work/TLG00020", 1_053),
    ("road-travel/TLG00001", 314),
    ("road-travel/TLG00002", 27),
    ("road-travel/TLG00003", 4_336),
]


@pytest.mark.parametrize(("name", "count"), FORAGE)
def test_open_logs_are_read_to_their_last_byte(open_data, name, count):
    """Three header layouts, partial records of 0 to 71 values: every byte of six real logs is a record's."""
    place = open_data(f"task-data-forage/{name}.bin")
    header = header_of(place.with_suffix(".xml").read_bytes(), name)
    content = place.read_bytes()
    records = records_of(content, header, range(len(header.logged)))
    assert records.damage == ""
    assert len(records.fixed) == count
    assert header.fixed.itemsize * count + 5 * int(records.fixed["count"].sum()) == len(content)
    assert int(np.isfinite(records.values).sum()) == int(records.fixed["count"].sum())


def test_values_stand_in_their_record_and_column(made):
    """Partial records, an empty one, an index not asked for, negative values and a value written twice (the last counts)."""
    header = header_of(made.header(["0057", "0063", "0043"]).encode(), "x")
    content = made.record(0, {0: 1, 2: -7}) + made.record(1) + made.record(2, {1: 5}) + made.record(3, {0: 2, 1: 3, 2: 4})
    twice = made.record(4, {0: 1, 1: 1}).replace(b"\x01\x01\x00\x00\x00", b"\x00\x09\x00\x00\x00")
    records = records_of(content + twice, header, [2, 0])
    expected = np.array([[-7, 1], [np.nan, np.nan], [np.nan, np.nan], [4, 2], [np.nan, 9]])
    np.testing.assert_array_equal(records.values, expected)
    assert records.fixed["time_ms"].tolist() == [43_200_000 + 1000 * k for k in range(5)]
    assert records.damage == ""


def test_all_position_fields(made):
    """Nine fields, southern and western: each comes back as it was written."""
    header = header_of(made.header(["0057"], " ".join(f'{name}=""' for name in "ABCDEFGHI")).encode(), "x")
    place = (-333_333_333, -704_444_444, -12_000, 4, 12, 8, 14, 61_200_000, 16_726)
    fixed = records_of(made.record(0, {0: 5}, place, "ABCDEFGHI"), header, [0]).fixed
    assert tuple(fixed[0].tolist())[2:-1] == place


def test_a_log_cut_anywhere_in_its_last_record_keeps_the_others(made):
    """Cut at every byte of the last record, the nine before it are kept and the byte is named."""
    header = header_of(made.header(["0057"]).encode(), "x")
    whole = made.drive(10)
    length = len(whole) // 10
    for cut in range(1, length):
        records = records_of(whole[:-cut], header, [0])
        assert len(records.fixed) == 9
        assert records.values[:, 0].tolist() == [12e6] * 9
        assert records.damage == f"ends within a record at byte {9 * length} of {10 * length - cut}"
    assert records_of(whole[:-length], header, [0]).damage == ""


@pytest.mark.parametrize("at", [(16,), (3, 5), (9, 5), (13, 5)], ids=["index", "hour and day", "latitude and day", "longitude and day"])
def test_a_damaged_record_ends_the_log(made, at):
    """What stands before a record that cannot be one is kept, what follows is not believed."""
    header = header_of(made.header(["0057"]).encode(), "x")
    content = bytearray(made.drive(10))
    for byte in at:
        content[4 * 21 + byte] ^= 0x40
    records = records_of(bytes(content), header, [0])
    assert len(records.fixed) == 4
    assert records.damage == "is damaged at byte 84 of 210, where a record cannot be read"


def test_a_lost_byte_is_noticed(made):
    """Out of step by one byte, no more than two false records are taken for true."""
    header = header_of(made.header(["0057"]).encode(), "x")
    content = made.drive(200)
    for lost in range(100 * 21, 101 * 21):
        records = records_of(content[:lost] + content[lost + 1 :], header, [0])
        assert 99 <= len(records.fixed) <= 102
        assert "is damaged at byte" in records.damage


def test_no_fix_and_no_clock_are_no_damage(made):
    """Whatever a receiver or a clock writes when it has nothing to say, the record is one like any other."""
    header = header_of(made.header(["0057"]).encode(), "x")
    places = [(2**31 - 1, -(2**31), 15), (-1, -1, 15), (910_000_000, 1_810_000_000, 0)]
    content = (
        b"".join(made.record(k, {0: k}, place) for k, place in enumerate(places))
        + made.record(90_000, {0: 3})
        + made.record(4, {0: 4}, day=16_727)
    )
    records = records_of(content, header, [0])
    assert records.values[:, 0].tolist() == [0, 1, 2, 3, 4]
    assert records.damage == ""


@pytest.mark.parametrize("content", [b"", b"\x01", bytes(15)])
def test_nothing_is_no_record(made, content):
    """Fewer bytes than one record give none."""
    records = records_of(content, header_of(made.header(["0057"]).encode(), "x"), [0])
    assert len(records.fixed) == 0
    assert records.values.shape == (0, 1)
    assert bool(records.damage) == bool(content)


@given(
    rows=st.lists(st.dictionaries(st.integers(0, 4), st.integers(-(2**31), 2**31 - 1), max_size=5), max_size=30),
    wanted=st.permutations(range(5)),
)
def test_any_records_come_back(made, rows, wanted):
    """Law: whatever subset of values each record holds, and in whatever order they are asked for, all come back and no more."""
    header = header_of(made.header(["0057", "0063", "0043", "008D", "018D"]).encode(), "x")
    content = b"".join(made.record(k, row) for k, row in enumerate(rows))
    records = records_of(content, header, wanted)
    expected = [[row.get(index, np.nan) for index in wanted] for row in rows]
    np.testing.assert_array_equal(records.values, np.array(expected).reshape(len(rows), 5))
