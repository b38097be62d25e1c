from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from lossmap.base.errors import ReadError
from lossmap.read.raw import Raw
from lossmap.read.times import read_times


def times(values):
    """Times of a column of these values."""
    return read_times(Raw("log.csv", pd.DataFrame({"t": values}), 2), "t")


@pytest.mark.parametrize(
    "values",
    [
        ["2025-10-18T14:03:07Z", "2025-10-18T14:03:08Z"],
        ["10/18/2025 2:03:07 PM", "10/18/2025 2:03:08 PM"],
        ["18.10.2025 14:03:07", "18.10.2025 14:03:08"],
        [1760796187, 1760796188],
        [1760796187000, 1760796188000],
        [45948.58549768518, 45948.58550925926],
    ],
)
def test_clocks_people_write(values):
    """ISO text, month-first, day-first, Unix seconds and milliseconds and spreadsheet days are one moment."""
    read = times(values)
    assert read.when.iloc[0] == pd.Timestamp("2025-10-18T14:03:07Z")
    assert np.diff(read.seconds) == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("values", [["2018-07-18", "2018-07-18"], ["2018-07-18T00:00:00Z", "2018-07-19T00:00:00Z"]])
def test_a_date_alone_is_no_clock(values):
    """Days without hours give no order and no interval, and that is said."""
    read = times(values)
    assert (read.when, read.seconds, read.note) == (None, None, "time holds only a date")


def test_seconds_since_the_start_give_intervals_only():
    """A counter that starts at zero has differences but no date."""
    read = times([0, 3, 6])
    assert read.when is None
    assert read.seconds.tolist() == [0.0, 3.0, 6.0]


def test_text_that_is_no_time_names_its_row():
    """One bad clock in a column is found and named by the row a spreadsheet shows."""
    with pytest.raises(ReadError, match='log.csv, row 3: t "yesterday" is not a time'):
        times(["2025-10-18T14:03:07Z", "yesterday"])
