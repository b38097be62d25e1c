"""Made farms with known truth: weather from a seeded generator, and fields whose drying and loss are set by us."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd

from lossmap.base.tables import WEATHER

__all__ = ["made_weather", "made_years"]


def made_weather(first: str, days: int, rng_seed: int, *, humidity: bool = True, wet: float = 0.28) -> pd.DataFrame:
    """Daily weather of a made mid-latitude place.

    Temperature: a yearly wave (10 C, 14 C either way) and a first-order process of 3.5 C.
    Rain: a day is wet with chance `wet`, more likely after a wet one; amounts are
    gamma-distributed, 7 mm in the mean. Nights are 11 C below the day, 6 C when it rains.
    """
    rng = np.random.default_rng(rng_seed)
    on = pd.date_range(first, periods=days)
    noise, is_wet = np.zeros(days), np.zeros(days, dtype=bool)
    for day in range(1, days):
        noise[day] = 0.7 * noise[day - 1] + 3.5 * np.sqrt(1 - 0.49) * rng.standard_normal()
        is_wet[day] = rng.random() < (wet + 0.2 if is_wet[day - 1] else wet - 0.08)
    mean = 10 - 14 * np.cos(2 * np.pi * (on.day_of_year.to_numpy() - 20) / 365.25) + noise
    half = np.where(is_wet, 3.0, 5.5)
    rain = np.where(is_wet, rng.gamma(0.8, 7 / 0.8, days), 0.0)
    dewpoint = mean - np.where(is_wet, 1.5, 5.5) + rng.normal(0, 1, days)
    table = pd.DataFrame(
        {
            "day_on": on.astype("datetime64[ns]"),
            "tmin_c": mean - half,
            "tmax_c": mean + half,
            "rain_mm": rain,
            "rh_pct": np.full(days, np.nan),
            "dewpoint_c": dewpoint if humidity else np.full(days, np.nan),
        }
    )
    return WEATHER.check(table)


def made_years(years: range, rng_seed: int, *, humidity: bool = True) -> pd.DataFrame:
    """Whole years of it."""
    first = datetime.date(years.start, 1, 1)
    return made_weather(str(first), (datetime.date(years.stop, 1, 1) - first).days, rng_seed, humidity=humidity)
