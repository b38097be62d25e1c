from __future__ import annotations

import numpy as np
import pytest

from lossmap.base.errors import ReadError
from lossmap.read.taskdata.header import NO_DDI, Logged, header_of


def test_empty_attributes_are_in_the_record_in_the_standards_order(made):
    """All nine position fields make a record of 6 + 24 + 1 bytes; the plainest header one of 16."""
    everything = header_of(made.header([], " ".join(f'{name}=""' for name in "IHGFEDCBA")).encode(), "x").fixed
    assert everything.names == (
        *("time_ms", "day", "north", "east", "up_mm", "status", "pdop", "hdop", "satellites", "utc_ms", "utc_day", "count"),
    )
    assert everything.itemsize == 31
    assert header_of(made.header([]).encode(), "x").fixed.itemsize == 16
    assert np.dtype(everything["utc_ms"]).itemsize == 4


def test_attributes_with_a_value_hold_for_the_log(made):
    """Constants of the position come in the record's own units, constants of values as they are; both are not in the record."""
    header = header_of(made.header([("0043", "9000", "DET-2"), "0057"], 'A="" B="" C="310500" D="1" F="0.8"').encode(), "x")
    assert header.fixed.itemsize == 15
    assert header.constants == {"up_mm": 310_500, "status": 1, "hdop": 8}
    assert header.logged == (Logged(0x43, "DET-2", 9000), Logged(0x57, "DET-1", None))
    fixed = header_of(made.header([], 'A="41.9" B="-93.6"', 'A="2025-10-17T12:00:00" D="4"').encode(), "x")
    assert fixed.fixed.names == ("count",)
    assert fixed.constants == {"north": pytest.approx(419_000_000), "east": pytest.approx(-936_000_000)}


@pytest.mark.parametrize("ddi", ["DFFE", "DFFF", "E000", "EA7E", "FFFF", "zz", "", "-1", "1FFFFFFFF"])
def test_entries_without_a_common_meaning_keep_their_place(made, ddi):
    """Bus messages, requests, makers' own entries and nonsense are skipped, the entry behind them keeps its index."""
    logged = header_of(made.header([ddi, "0057"]).encode(), "x").logged
    assert [entry.ddi for entry in logged] == [NO_DDI, 0x57]


@pytest.mark.parametrize("value", ["9" * 12, "x", "1.5"])
def test_a_constant_that_no_record_could_hold_is_none(made, value):
    """Beyond 32 bits, or no whole number."""
    assert header_of(made.header([("0043", value, "DET-1")]).encode(), "x").logged[0].constant is None


def test_what_is_no_header_is_refused(made):
    """Another root, no start time, a field without a place in the record."""
    for text in ('<XFC A=""/>', "<TIM/>"):
        with pytest.raises(ReadError, match=r"^x: is no header of a time log \(its root is not a TIM element with A\)"):
            header_of(text.encode(), "x")
    with pytest.raises(ReadError, match="x: TIM B is written in every record, for which the standard gives no place"):
        header_of(made.header([], tim='A="" B="" D="4"').encode(), "x")
