"""Daily weather: a plain table, or a station's file of the Global Historical Climatology Network in either of its layouts."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from lossmap.base.errors import NoReference, ReadError, shown
from lossmap.base.grid import Floats
from lossmap.base.tables import WEATHER
from lossmap.base.units import factor
from lossmap.read.csv_table import folded, read_csv
from lossmap.read.raw import MOST_RECORDS, Raw, checked, column_numbers, plain_file, reading, refuse_records
from lossmap.read.words import header_words

__all__ = ["read_weather"]

_LONG = re.compile(rb"^\s*\"?[A-Z0-9_-]{11}\"?,\"?\d{8}\"?,\"?[A-Z0-9]{4}\"?,")
_LONG_NAMES = ("station", "date", "element", "value", "m_flag", "quality", "s_flag", "hour")
_MISSING = -9999
#: Elements of the network that we read [GHCN]: our column, and one of theirs in it.
_ELEMENTS = {
    "TMIN": ("tmin_c", 0.1),
    "TMAX": ("tmax_c", 0.1),
    "PRCP": ("rain_mm", 0.1),
    "ADPT": ("dewpoint_c", 0.1),
    "RHAV": ("rh_pct", 1.0),
}
#: Words a plain table may use, by our column.
_WORDS = {
    "tmin_c": ("tmin", "t min", "min temperature", "temperature min", "low temperature", "minimum temperature"),
    "tmax_c": ("tmax", "t max", "max temperature", "temperature max", "high temperature", "maximum temperature"),
    "rain_mm": ("rain", "rainfall", "precipitation", "precip"),
    "rh_pct": ("rh", "relative humidity", "humidity"),
    "dewpoint_c": ("dewpoint", "dew point", "tdew", "dew point temperature"),
}
_NEEDED = ("tmin_c", "tmax_c", "rain_mm")
_EXAMPLE = "date, tmin_c, tmax_c, rain_mm and, better, rh_pct or dewpoint_c"


def read_weather(path: Path, where: str) -> pd.DataFrame:
    """The days of one file, in their order.

    Parameters
    ----------
    path : Path
        A plain table with a header (`date`, `tmin_c` or `tmin_f`, `tmax_c`, `rain_mm` or
        `rain_in`, `rh_pct`, `dewpoint_c`), or a station's file of GHCN-Daily: one row a
        day and element without a header, or one row a day with a header [GHCN]. There,
        temperatures and rain stand in tenths, -9999 is missing, and a value with a
        quality flag has failed a check of its keepers: it is left out.
    where : str
        The file as it shall stand in messages.

    Returns
    -------
    WEATHER
        Each day once; values that are not known are NaN.

    Raises
    ------
    ReadError
        Not such a file; a column is missing or says no unit; a day stands twice; the
        lowest temperature is above the highest.
    """
    table, raw = _long(path, where) if _is_long(path, where) else _with_header(read_csv(path, where))
    for name in WEATHER.columns:
        if name.name not in table:
            table[name.name] = np.nan
    table = table[[column.name for column in WEATHER.columns]]
    _sane(table, raw)
    checked(table, WEATHER, raw)
    return table.sort_values("day_on", ignore_index=True)


def _is_long(path: Path, where: str) -> bool:
    plain_file(path, where)
    with reading(where), path.open("rb") as opened:
        return bool(_LONG.match(opened.read(80)))


def _long(path: Path, where: str) -> tuple[pd.DataFrame, Raw]:
    """One row a day and element, without a header."""
    raw = _lines(path, where)
    rows = raw.columns
    days = _days(raw, "date", "%Y%m%d")
    values = column_numbers(raw, "value")
    use = rows["element"].isin(_ELEMENTS) & (rows["quality"].str.strip() == "") & (values != _MISSING)
    used = pd.DataFrame({"day_on": days[use], "element": rows["element"][use], "value": values[use]})
    twice = np.flatnonzero(used.duplicated(["day_on", "element"]))
    if twice.size:
        row = used.index[twice[0]]
        raise ReadError(f"{where}, row {row + 1}: {used['element'][row]} of {used['day_on'][row].date()} stands twice; delete one")
    table = used.pivot(index="day_on", columns="element", values="value").rename_axis(columns=None).reset_index()
    for element, (name, unit) in _ELEMENTS.items():
        if element in table:
            table[name] = table.pop(element).astype(float) * unit
    _needed(set(table.columns), where, "the station does not measure it; choose another station")
    return table, Raw(where, table, first_row=1)


def _lines(path: Path, where: str) -> Raw:
    """The lines of one station's file, as text."""
    try:
        rows = pd.read_csv(
            path,
            header=None,
            names=list(_LONG_NAMES),
            dtype=str,
            keep_default_na=False,
            usecols=range(8),
            encoding="latin-1",
            nrows=MOST_RECORDS + 1,
        )
    except (ValueError, pd.errors.ParserError) as fault:
        raise ReadError(f"{where}: its lines are not the eight values of a station's file; get the file again") from fault
    refuse_records(len(rows), where)
    stations = rows["station"].unique()
    if len(stations) > 1:
        raise ReadError(
            f"{where}: holds {len(stations)} stations ({shown(stations[0])}, {shown(stations[1])}, ...); give one station's file"
        )
    return Raw(where, rows, first_row=1)


def _with_header(raw: Raw) -> tuple[pd.DataFrame, Raw]:
    names = [name.upper() for name in raw.columns.columns]
    if {"STATION", "DATE"} <= set(names) and any(f"{element}_ATTRIBUTES" in names for element in _ELEMENTS):
        flags = [f"{element}_ATTRIBUTES" for element in _ELEMENTS]
        return _by_day(folded(raw, str.upper, ["DATE", *_ELEMENTS, *flags])), raw
    return _plain(raw), raw


def _by_day(raw: Raw) -> pd.DataFrame:
    """One row a day, each element with its flags (measurement, quality, source) in a column beside it."""
    columns: dict[str, object] = {"day_on": _days(raw, "DATE", "%Y-%m-%d")}
    for element, (name, unit) in _ELEMENTS.items():
        if element in raw.columns:
            values = column_numbers(raw, element)
            flags = raw.columns.get(f"{element}_ATTRIBUTES", pd.Series("", index=raw.columns.index)).fillna("").astype(str)
            failed = flags.str.split(",").str[1].fillna("").str.strip() != ""
            columns[name] = np.where((values == _MISSING) | failed.to_numpy(), np.nan, values * unit)
    _needed(set(columns), raw.where, "the station does not measure it; choose another station")
    return _once(pd.DataFrame(columns), raw)


def _plain(raw: Raw) -> pd.DataFrame:
    found: dict[str, str] = {}
    for column in raw.columns.columns:
        words = header_words(str(column)).replace("_", " ")
        bare = re.sub(r"\s+(c|f|pct|percent|mm|in|inch)$", "", words)
        for name, spellings in _WORDS.items():
            if bare in spellings or words in spellings:
                if name in found:
                    raise ReadError(f"{raw.where}: {shown(found[name])} and {shown(column)} both look like {name}; keep one")
                found[name] = str(column)
    day = next((str(column) for column in raw.columns.columns if header_words(str(column)) in ("date", "day", "day on")), None)
    if day is None:
        columns = ", ".join(str(name) for name in raw.columns.columns[:12])
        raise ReadError(f"{raw.where}: has no column date (columns {shown(columns, 120)}); it should hold {_EXAMPLE}")
    _needed(set(found), raw.where, f"it should hold {_EXAMPLE}")
    values = {name: _in_our_unit(raw, column, name) for name, column in found.items()}
    return _once(pd.DataFrame({"day_on": _days(raw, day, "%Y-%m-%d"), **values}), raw)


def _needed(found: set[str], where: str, remedy: str) -> None:
    missing = [name for name in _NEEDED if name not in found]
    if missing:
        raise ReadError(f"{where}: has no {' and no '.join(missing)}; {remedy}")


def _in_our_unit(raw: Raw, column: str, name: str) -> Floats:
    """A column in our unit by what its header says; a temperature or a depth without a unit is refused."""
    values, stated = column_numbers(raw, column), _stated(column)
    if name.endswith("_c"):
        if stated not in _TEMPERATURES:
            raise ReadError(f"{raw.where}: {shown(column)} says no unit; call it {name} or {name[:-2]}_f")
        return _TEMPERATURES[stated](values)
    if name == "rh_pct":
        known = values[np.isfinite(values)]
        if known.size and known.max() <= 1.0:
            raise ReadError(f"{raw.where}: {shown(column)} is never above {known.max():g}; write humidity in percent")
        return values
    try:
        return np.asarray(values * factor(stated, "mm"))
    except NoReference:
        raise ReadError(f"{raw.where}: {shown(column)} says no unit; call it rain_mm or rain_in") from None


_TEMPERATURES: dict[str, Callable[[Floats], Floats]] = {
    "c": lambda values: values,
    "f": lambda values: np.asarray((values - 32) / 1.8),
}


def _stated(column: str) -> str:
    """The last word of a header, where its unit stands: "tmin_c", "Rain (in)", "dew point [°F]"."""
    words = [word for word in re.split(r"[^A-Za-z%]+", column) if word]
    return words[-1].lower() if len(words) > 1 else ""


def _days(raw: Raw, column: str, form: str) -> pd.Series:
    text = raw.columns[column].astype("string").str.strip()
    days = pd.to_datetime(text, format=form, errors="coerce")
    # years that a clock of nanoseconds does not reach were not measured either
    days = days.where(days.dt.year.between(1700, 2200)).astype("datetime64[ns]")
    wrong = np.flatnonzero(days.isna())
    if wrong.size:
        found = text.iloc[wrong[0]]
        written = "20251018" if form == "%Y%m%d" else "2025-10-18"
        raise ReadError(f'{raw.where}, row {raw.first_row + wrong[0]}: date "{shown(found)}" is not a day; write {written}')
    return days


def _once(table: pd.DataFrame, raw: Raw) -> pd.DataFrame:
    twice = np.flatnonzero(table["day_on"].duplicated())
    if twice.size:
        day = table["day_on"].iloc[twice[0]].date()
        raise ReadError(f"{raw.where}, row {raw.first_row + twice[0]}: {day} stands twice; delete one")
    return table


def _sane(table: pd.DataFrame, raw: Raw) -> None:
    upside_down = np.flatnonzero(table["tmin_c"] > table["tmax_c"] + 0.05)
    if upside_down.size:
        row = table.iloc[upside_down[0]]
        more = f" ({upside_down.size} such days)" if upside_down.size > 1 else ""
        raise ReadError(
            f"{raw.where}: on {row['day_on'].date()} tmin is {row['tmin_c']:.1f} C and tmax {row['tmax_c']:.1f} C{more}; "
            + ("the columns look exchanged; exchange their names" if upside_down.size > len(table) / 2 else "correct the day")
        )
