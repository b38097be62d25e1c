"""When a record was written: logs keep the machine's own clock, which is local and does not say so."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lossmap.read.taskdata.records import Records

__all__ = ["Instants", "times_of"]

_EPOCH = np.datetime64("1980-01-01", "ms")
# Outside these years a clock has not been set.
_EARLIEST, _LATEST = np.datetime64("1995-01-01", "ms"), np.datetime64("2100-01-01", "ms")
_NONE = np.datetime64("NaT", "ms")

_QUARTER_S = 900
# Every zone is a whole number of quarter hours, at most 14 h from UTC.
_FARTHEST_S = 14 * 3600 + _QUARTER_S // 2
# A log begins at once or half a minute behind its task's stretch of work; further off, the quarter hour is a guess.
_LATE_S = 180

Instants = npt.NDArray[np.datetime64]


def times_of(records: Records, begins: Sequence[datetime.datetime]) -> tuple[Instants | None, str]:
    """UTC of each record [ms], and what had to be assumed.

    From the receiver's UTC where it is logged; else from the machine's clock, whose zone
    follows from when the task says, in UTC, that its work began; else the clock is taken as UTC.

    Parameters
    ----------
    records : Records
    begins : sequence of datetime
        In UTC.
    """
    clock = _instants(records, "day", "time_ms")
    receiver = _instants(records, "utc_day", "utc_ms")
    if clock is None or np.isnat(clock).all():
        usable = receiver is not None and not np.isnat(receiver).all()
        return (receiver, "") if usable else (None, "records have no time")
    ahead = _ahead_of_receiver(clock, receiver)
    if receiver is not None and ahead is not None:
        away = np.abs(receiver - (clock - ahead)) > np.timedelta64(_FARTHEST_S, "s")
        return np.where(np.isnat(receiver) | away, clock - ahead, receiver), ""
    zone = _zone(clock, begins)
    if zone is not None:
        return clock - zone, ""
    return clock, "the clock states no zone and is taken as UTC: steps are right, the hour of day may not be"


def _instants(records: Records, day: str, ms: str) -> Instants | None:
    names = records.fixed.dtype.names or ()
    if day not in names or ms not in names:
        return None
    days, since_midnight = records.fixed[day].astype(np.int64), records.fixed[ms].astype(np.int64)
    when = _EPOCH + (days * 86_400_000 + since_midnight).astype("timedelta64[ms]")
    known = (when >= _EARLIEST) & (when < _LATEST) & (since_midnight <= 86_400_000)
    return np.where(known, when, _NONE)


def _ahead_of_receiver(clock: Instants, receiver: Instants | None) -> np.timedelta64 | None:
    """By how much the clock usually leads UTC; None without a receiver's time that it could be."""
    if receiver is None:
        return None
    ahead = clock - receiver
    ahead = ahead[~np.isnat(ahead)]
    if not ahead.size or np.abs(np.median(ahead)) > np.timedelta64(_FARTHEST_S, "s"):
        return None
    return np.timedelta64(int(np.median(ahead.astype(np.int64))), "ms")


def _zone(clock: Instants, begins: Sequence[datetime.datetime]) -> np.timedelta64 | None:
    """How far the clock's zone is from UTC, by the start of work nearest to a whole zone before the log's first record."""
    first = clock[~np.isnat(clock)][0]
    best: tuple[float, float] | None = None
    for begin in begins:
        lead = float((first - np.datetime64(begin.replace(tzinfo=None), "ms")) / np.timedelta64(1, "s"))
        zone = round(lead / _QUARTER_S) * _QUARTER_S
        if abs(lead) <= _FARTHEST_S and abs(lead - zone) <= _LATE_S and (best is None or abs(lead - zone) < best[0]):
            best = (abs(lead - zone), zone)
    return None if best is None else np.timedelta64(int(best[1]), "s")
