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


@pytest.mark.parametrize(
    "values",
    [
        ["1600-10-18T14:03:07Z", "1600-10-18T14:03:08Z"],
        ["9999-10-18T14:03:07Z", "9999-10-18T14:03:08Z"],
        [np.inf, np.inf],
        [-np.inf, 1e308],
    ],
)
def test_a_clock_nobody_set_is_no_clock(values):
    """Years no combine ran in, and numbers no clock counts, are said to be no date."""
    read = times(values)
    assert (read.when, read.seconds, read.note) == (None, None, "time holds no usable date (none from 1995 to 2100)")


@pytest.mark.parametrize("bad", ["1900-01-01T00:00:00Z", "9999-12-31T23:59:59Z"])
def test_a_few_unset_times_are_gaps(bad):
    """The records before the receiver found its satellites have no time; the others keep theirs."""
    read = times([bad, "2025-10-18T14:03:07Z", "2025-10-18T14:03:08Z"])
    assert read.when.isna().tolist() == [True, False, False]
    assert read.seconds == pytest.approx([np.nan, 1760796187.0, 1760796188.0], nan_ok=True)
    assert read.note == "1 record has a time outside 1995 to 2100, taken as no time"


def test_not_a_number_is_no_time():
    """The word nan is a gap in a clock as it is in a column of numbers."""
    assert times(["nan", "2025-10-18T14:03:07Z", "2025-10-18T14:03:08Z"]).when.isna().tolist() == [True, False, False]


def test_an_infinite_second_is_a_gap():
    """One damaged value does not take the others with it."""
    read = times([1760796187.0, np.inf, 1760796189.0])
    assert read.when.isna().tolist() == [False, True, False]
    assert times([0.0, 3.0, np.inf]).seconds == pytest.approx([0.0, 3.0, np.nan], nan_ok=True)


def test_text_that_is_no_time_names_its_row():
    """One bad clock in a column is found and named by the row a spreadsheet shows."""
    with pytest.raises(ReadError, match='log.csv, row 3: t "yesterday" is not a time'):
        times(["2025-10-18T14:03:07Z", "yesterday"])


def test_an_empty_clock_is_said():
    """A column without a time leaves none, with the reason."""
    read = times(pd.to_datetime([None, None], utc=True))
    assert read.when is None
    assert "empty" in read.note


def test_a_clock_that_is_one_already_is_taken():
    """Times of a format that has times (GeoParquet) stay as they are."""
    read = times(pd.to_datetime(["2025-10-18T14:03:07Z", "2025-10-18T14:03:08Z"], utc=True))
    assert np.diff(read.seconds) == pytest.approx([1.0])
