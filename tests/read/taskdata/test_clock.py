from __future__ import annotations

import datetime

import numpy as np
import pytest

from lossmap.read.taskdata.clock import times_of
from lossmap.read.taskdata.header import header_of
from lossmap.read.taskdata.records import records_of

NOON = np.datetime64("2025-10-17T12:00:00", "ms")
SAID = "the clock states no zone and is taken as UTC: steps are right, the hour of day may not be"


def local(made, count=3, **changed):
    """Records from noon on the machine's clock, without a receiver's time."""
    return records_of(b"".join(made.record(k, **changed) for k in range(count)), header_of(made.header([]).encode(), "x"), [])


def with_receiver(made, utc):
    """Records from noon on the machine's clock, with the receiver's (ms of day, day) for each."""
    header = header_of(made.header([], 'A="" B="" H="" I=""').encode(), "x")
    return records_of(b"".join(made.record(k, place=(1, 1, *one), position="ABHI") for k, one in enumerate(utc)), header, [])


def at(text):
    """A start of work."""
    return datetime.datetime.fromisoformat(text)


def test_the_receivers_time_wins(made):
    """Where the receiver's UTC is in the record, it is the time, whatever the machine's clock says."""
    records = with_receiver(made, [(36_000_500 + 1000 * k, 16_726) for k in range(3)])
    when, said = times_of(records, [at("2025-10-17T05:00:00+00:00")])
    assert said == ""
    assert (when - NOON).astype(int).tolist() == [-7_199_500, -7_198_500, -7_197_500]


def test_gaps_of_the_receiver_are_filled_from_the_clock(made):
    """A receiver that has no time yet (all bits set, day 0, years off) does not leave a hole."""
    records = with_receiver(made, [(2**32 - 1, 2**16 - 1), (36_001_000, 16_726), (0, 0), (36_003_000, 16_726), (36_004_000, 9_000)])
    when, _ = times_of(records, [])
    assert (when - NOON).astype(int).tolist() == [-7_200_000, -7_199_000, -7_198_000, -7_197_000, -7_196_000]


def test_a_receiver_days_off_is_not_believed(made):
    """Further from the clock than any zone is, the receiver's date is a fault."""
    when, said = times_of(with_receiver(made, [(0, 16_000 + k) for k in range(3)]), [])
    assert when[0] == NOON
    assert said == SAID


@pytest.mark.parametrize(
    ("begin", "hours"),
    [
        ("2025-10-17T09:59:35+00:00", 2.0),
        ("2025-10-17T17:00:20+00:00", -5.0),
        ("2025-10-17T06:29:59+00:00", 5.5),
        ("2025-10-17T12:00:00+00:00", 0.0),
    ],
)
def test_the_zone_follows_from_the_start_of_work(made, begin, hours):
    """A log that begins at noon, in a task that began half a minute earlier in UTC, gives the zone to a quarter hour."""
    when, said = times_of(local(made), [at(begin)])
    assert said == ""
    assert (NOON - when[0]) / np.timedelta64(1, "h") == hours


def test_of_several_starts_the_nearest_to_a_whole_zone_counts(made):
    """Starts of other stretches, minutes off, do not move the zone."""
    starts = [at("2025-10-17T09:52:00+00:00"), at("2025-10-17T09:59:58+00:00"), at("2025-10-17T10:03:00+00:00")]
    when, _ = times_of(local(made), starts)
    assert (NOON - when[0]) == np.timedelta64(2, "h")


@pytest.mark.parametrize("begins", [[], ["2025-10-17T09:52:00+00:00"], ["2025-10-19T10:00:00+00:00"]])
def test_without_a_start_nearby_the_clock_is_taken_as_utc(made, begins):
    """No start, one that fits no zone, one of another day: said, not guessed."""
    when, said = times_of(local(made), [at(begin) for begin in begins])
    assert when[0] == NOON
    assert said == SAID


def test_a_clock_that_was_not_set_is_none(made):
    """Records of 1980 have no time; with a receiver its time stands alone."""
    when, said = times_of(local(made, day=3), [])
    assert when is None
    assert said == "records have no time"
    content = b"".join(made.record(k, place=(1, 1, 1000 * k, 16_726), position="ABHI", day=0) for k in range(3))
    when, said = times_of(records_of(content, header_of(made.header([], 'A="" B="" H="" I=""').encode(), "x"), []), [])
    assert when[1] == np.datetime64("2025-10-17T00:00:01", "ms")
    assert said == ""


def test_an_open_logs_two_hours(open_data):
    """A real log that begins at 19:30:25 in a task that began at 17:30:50 UTC was two hours ahead."""
    place = open_data("task-data-forage/road-travel/TLG00001.bin")
    records = records_of(place.read_bytes(), header_of(place.with_suffix(".xml").read_bytes(), "x"), [])
    when, said = times_of(records, [at("2022-01-02T17:30:50+00:00")])
    assert said == ""
    assert str(when[0]) == "2022-01-02T17:30:25.104"
