"""Clock columns: ISO text, what spreadsheets write, seconds since an epoch or since the start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from lossmap.base.errors import ReadError, shown
from lossmap.base.grid import Floats
from lossmap.read.raw import Raw

__all__ = ["Times", "read_times"]

# Written day first, month first, or year first; tried in turn, a form counts if every row fits it.
_FORMS = (
    "%Y/%m/%d %H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p",
    "%m/%d/%Y %H:%M:%S",
    "%d/%m/%Y %H:%M:%S",
    "%d.%m.%Y %H:%M:%S",
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%d.%m.%Y",
)
_EARLIEST, _LATEST = 788_918_400.0, 4_102_444_800.0  # 1995 and 2100, in Unix seconds
_DAY = 86_400.0
_NO_DATE = "time holds no usable date (none from 1995 to 2100)"
_SPREADSHEET_EPOCH = -2_209_161_600.0  # 1899-12-30 in Unix seconds


@dataclass(frozen=True)
class Times:
    """When each record was logged, as far as the column tells.

    Attributes
    ----------
    when : Series of UTC times, or None
        None where the column holds no date, or one and the same for all.
    seconds : array or None
        Seconds on whatever clock there is, for differences between records.
    note : str
        What the column lacks.
    """

    when: pd.Series | None
    seconds: Floats | None
    note: str = ""


def read_times(raw: Raw, column: str) -> Times:
    """Understand a clock column.

    A clock without a zone is taken as UTC: differences are right, the hour of day may not be.

    Raises
    ------
    ReadError
        Text that is no time; names the row.
    """
    values = raw.columns[column]
    if isinstance(values.dtype, pd.DatetimeTZDtype) or values.dtype.kind == "M":
        return _dated(pd.to_datetime(values, utc=True))
    if values.dtype.kind in "iuf":
        return _numbered(values.to_numpy(dtype=float, na_value=np.nan), column)
    text = values.astype("string").str.strip()
    return _dated(_parsed(raw, column, text))


def _parsed(raw: Raw, column: str, text: pd.Series) -> pd.Series:
    known = text.notna() & ~text.str.lower().isin(["", "nan"])
    for form in ("ISO8601", *_FORMS):
        when = pd.to_datetime(text.where(known), format=form, utc=True, errors="coerce")
        if when[known].notna().all():
            return when
    iso = pd.to_datetime(text.where(known), format="ISO8601", utc=True, errors="coerce")
    first = int(np.flatnonzero((iso.isna() & known).to_numpy())[0])
    raise ReadError(
        f'{raw.where}, row {raw.first_row + first}: {column} "{shown(text.iloc[first])}" is not a time lossmap reads; '
        'write 2025-10-18T14:03:07Z, or leave it out with time = "" under [points.columns]'
    )


def _dated(when: pd.Series) -> Times:
    """Times whose clock was set; a receiver that has not found its satellites writes years far away."""
    when = when.reset_index(drop=True)
    if when.isna().all():
        return Times(None, None, "the time column is empty")
    usable = when.between(pd.Timestamp(_EARLIEST, unit="s", tz="UTC"), pd.Timestamp(_LATEST, unit="s", tz="UTC"))
    unusable = int((when.notna() & ~usable).sum())
    known = when[usable]
    if known.empty:
        return Times(None, None, _NO_DATE)
    when = when.where(usable).astype("datetime64[ns, UTC]")
    known = when.dropna()
    if known.nunique() == 1 or (known == known.dt.normalize()).all():
        return Times(None, None, "time holds only a date")
    seconds = when.astype("int64").to_numpy(dtype=float) / 1e9
    return Times(when, np.where(when.isna(), np.nan, seconds), _left_out(unusable))


def _left_out(count: int) -> str:
    return (
        f"{count:,} {'record has a time' if count == 1 else 'records have times'} outside 1995 to 2100, taken as no time" if count else ""
    )


def _numbered(values: Floats, column: str) -> Times:
    """Unix seconds or milliseconds, spreadsheet days, or seconds since the start of the log."""
    # beyond milliseconds of 2100 no clock counts; infinite is no time
    values, given = np.where(np.abs(values) <= _LATEST * 1000, values, np.nan), int((~np.isnan(values)).sum())
    if not np.isfinite(values).any():
        return Times(None, None, _NO_DATE if given else "the time column is empty")
    middle = float(np.nanmedian(values))
    if _EARLIEST <= middle <= _LATEST:
        return _dated(_from_unix(values))
    if _EARLIEST <= middle / 1000 <= _LATEST:
        return _dated(_from_unix(values / 1000))
    if _EARLIEST <= middle * _DAY + _SPREADSHEET_EPOCH <= _LATEST and middle > 30_000:
        return _dated(_from_unix(values * _DAY + _SPREADSHEET_EPOCH))
    values = np.where(np.abs(values) <= _LATEST, values, np.nan)
    return Times(None, values, f"{column} counts seconds from an unknown start: used for intervals only")


def _from_unix(seconds: Floats) -> pd.Series:
    return pd.Series(pd.to_datetime(np.round(seconds * 1e3), unit="ms", utc=True))
