"""Autumns that may come: past years of the same days, with this year's weather and a forecast in their first days."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from lossmap.base.errors import TooLittleData
from lossmap.base.grid import Floats
from lossmap.base.rank_settings import HoursSettings, YearSettings

__all__ = ["Seasons", "fit_shares", "relative_humidity_pct", "saturation_kpa", "seasons"]

#: Longest and shortest day of the harvest, as days of a northern year: mid-September, late November.
_EARLY, _LATE = 258, 329
_SOUTHERN_SHIFT = 182


@dataclass(frozen=True)
class Seasons:
    """Weather of the same days in several years.

    Attributes
    ----------
    first_on : date
        Day 0.
    today : int
        The day on which the plan is made.
    years : tuple of int
        Past years, one a row.
    temperature_c, humidity_pct, rain_mm : array, ``[year, day]``
        Daily means, and the day's rain. Days before `today` and forecast days are the same in all.
    forecast_days : int
        Days from today on that a forecast gave.
    notes : tuple of str
    """

    first_on: datetime.date
    today: int
    years: tuple[int, ...]
    temperature_c: Floats
    humidity_pct: Floats
    rain_mm: Floats
    forecast_days: int
    notes: tuple[str, ...] = ()

    @property
    def days(self) -> int:
        """How many days each of them has."""
        return int(self.rain_mm.shape[1])

    def on(self, day: int) -> datetime.date:
        """The date of a day."""
        return self.first_on + datetime.timedelta(days=int(day))


def saturation_kpa(temperature_c: npt.ArrayLike) -> Floats:
    """Vapour pressure of saturated air [kPa] [FAO56].

    Examples
    --------
    >>> round(float(saturation_kpa(20.0)), 3)
    2.338
    """
    t = np.asarray(temperature_c, float)
    return np.asarray(0.6108 * np.exp(17.27 * t / (t + 237.3)))


def relative_humidity_pct(temperature_c: npt.ArrayLike, dewpoint_c: npt.ArrayLike) -> Floats:
    """Humidity of air [%] of a temperature and dew point [C] [FAO56]; 100 at most."""
    return np.asarray(np.minimum(100 * saturation_kpa(dewpoint_c) / saturation_kpa(temperature_c), 100.0))


def seasons(record: pd.DataFrame, first_on: datetime.date, on: datetime.date, settings: YearSettings, days: int | None = None) -> Seasons:
    """The autumns that may come.

    Parameters
    ----------
    record : WEATHER
        Days of this season and of past years, in any order; days from `on` on are a forecast.
    first_on, on : date
        The first day needed (the oldest reading), and today.
    settings : YearSettings
    days : int, optional
        Days to look ahead from `on`; by default the settings' season.

    Raises
    ------
    TooLittleData
        Too few whole past years; names them.
    """
    ahead = round(settings.season) if days is None else days
    today = (on - first_on).days
    daily = _daily(record, settings)
    dates = pd.date_range(first_on, periods=today + ahead)
    past = _past_years(daily, dates, first_on, settings)
    if len(past) < settings.least_years:
        found = ", ".join(map(str, past)) if past else "none"
        raise TooLittleData(
            f"weather: {len(past)} past years hold the days from {first_on:%d %b} to {dates[-1]:%d %b} ({found}); "
            f'{settings.least_years} are needed to say what may come: add them as history = "..." in farm.toml, or set years.least_years'
        )
    table = np.stack([past[year] for year in sorted(past)])
    known, forecast_days = _known(daily, dates, today, int(settings.forecast))
    table[:, ~np.isnan(known[:, 0]), :] = known[~np.isnan(known[:, 0])]
    temperature_c, humidity_pct, rain_mm = np.moveaxis(table, -1, 0)
    notes = (*_gap_notes(known[:today]), *_humidity_notes(record))
    return Seasons(first_on, today, tuple(sorted(past)), temperature_c, humidity_pct, rain_mm, forecast_days, notes)


def fit_shares(rain_mm: Floats, first_on: datetime.date, settings: HoursSettings) -> Floats:
    """Share of a long day's hours that is fit for harvest, ``[..., day]``: rain of the day and the two before, shorter days.

    Days before the first count as dry.
    """
    before = np.concatenate([np.zeros((*rain_mm.shape[:-1], 2)), rain_mm], axis=-1)
    today, yesterday, earlier = before[..., 2:], before[..., 1:-1], before[..., :-2]
    wet = np.where(today > settings.rain_none, 0.0, np.where(today >= settings.rain_half, 0.5, 1.0))
    soft = np.where(yesterday > settings.next_none, 0.0, np.where(yesterday > settings.next_half, 0.5, 1.0))
    still = np.where(earlier > settings.third_half, 0.5, 1.0)
    return np.asarray(np.minimum(np.minimum(wet, soft), still) * _day_length(first_on, rain_mm.shape[-1], settings))


def _day_length(first_on: datetime.date, days: int, settings: HoursSettings) -> Floats:
    day = first_on.timetuple().tm_yday + np.arange(days)
    # harvest in the first half of a year is an autumn of the south
    day = day + _SOUTHERN_SHIFT if first_on.month <= 6 else day
    return np.asarray(np.interp(day, [_EARLY, _LATE], [1.0, settings.short_day / 100]))


def _daily(record: pd.DataFrame, settings: YearSettings) -> pd.DataFrame:
    """Mean temperature, mean humidity and rain by day."""
    mean = (record["tmin_c"] + record["tmax_c"]) / 2
    from_tmin = relative_humidity_pct(mean, record["tmin_c"] - settings.dewpoint_below_tmin_c)
    from_dewpoint = relative_humidity_pct(mean, record["dewpoint_c"])
    humidity = record["rh_pct"].fillna(pd.Series(from_dewpoint, index=record.index)).fillna(pd.Series(from_tmin, index=record.index))
    table = pd.DataFrame({"temperature": mean, "humidity": humidity, "rain": record["rain_mm"]})
    return table.set_axis(pd.DatetimeIndex(record["day_on"])).groupby(level=0).last()


def _past_years(daily: pd.DataFrame, dates: pd.DatetimeIndex, first_on: datetime.date, settings: YearSettings) -> dict[int, Floats]:
    """Each earlier year that holds these days: its values, gaps filled, ``[day, 3]``."""
    found = {}
    for year in range(int(pd.DatetimeIndex(daily.index).year.min()), first_on.year) if len(daily) else ():
        start = _same_day(first_on, year)
        days = pd.date_range(start, periods=len(dates))
        here = daily.reindex(days)
        if here.isna().to_numpy().mean() <= settings.gaps / 100:
            # a gap of temperature lies between its neighbours; a gap of rain is a dry day
            filled = here.interpolate(limit_direction="both").assign(rain=here["rain"].fillna(0.0))
            found[year] = filled.to_numpy(float)
    return found


def _same_day(day: datetime.date, year: int) -> datetime.date:
    try:
        return day.replace(year=year)
    except ValueError:  # 29 February
        return day.replace(year=year, day=28)


def _known(daily: pd.DataFrame, dates: pd.DatetimeIndex, today: int, most: int) -> tuple[Floats, int]:
    """This season's days, NaN where not known, ``[day, 3]``; and how many a forecast gave."""
    here = daily.reindex(dates).to_numpy(float, copy=True)
    here[np.isnan(here).any(axis=1)] = np.nan
    gaps = np.flatnonzero(np.isnan(here[today:, 0]))
    given = min(int(gaps[0]) if gaps.size else len(here) - today, most)
    here[today + given :] = np.nan
    return here, given


def _gap_notes(known: Floats) -> list[str]:
    """Days up to today that nobody recorded."""
    unknown = int(np.isnan(known[:, 0]).sum())
    if not unknown:
        return []
    return [f"{unknown} of the {len(known)} days since the oldest reading are not in the weather file: past years stand for them"]


def _humidity_notes(record: pd.DataFrame) -> list[str]:
    share = float((record["rh_pct"].isna() & record["dewpoint_c"].isna()).mean())
    if share < 0.05:
        return []
    return [
        f"no humidity in {share:.0%} of the weather's days: taken from the night's lowest temperature, which makes dry places look damper "
        "than they are (years.dewpoint_below_tmin_c)"
    ]
