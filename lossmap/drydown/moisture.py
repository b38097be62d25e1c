"""How grain dries in the field: towards rest with the air, slower as it comes near, and back up in rain.

    m(next day) = e + (m - e) exp(-k)

`m` moisture [%, wet basis], `e` what the air of the day would leave it at [D245, EMCT, UKE, HELS], `k` the
share of the way it goes in a day. That a first-order approach to equilibrium moisture
with a rate of the crop's own describes field drying is published [MF19]; the rates are
fitted here to published points a day (reference table ``waiting.csv``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats
from lossmap.base.reference import Equilibrium, Figure, equilibria
from lossmap.drydown.weather import Seasons

__all__ = ["Air", "air", "dried", "drying_days", "equilibrium_pct", "step", "values", "wet_basis_pct"]

#: No form holds near dry or saturated air [D245, EMCT, UKE, HELS].
HUMIDITY_LIMITS = (5.0, 95.0)
#: Rain from which a day counts as wet [mm], and the humidity grain then feels at least [%] (assumptions).
WET_MM, WET_HUMIDITY = 1.0, 93.0
#: Daily mean below which drying all but stops [C] (assumption).
FROST_C = -2.0


@dataclass(frozen=True)
class Air:
    """What each day of each year does to one crop's grain, ``[year, day]``.

    Attributes
    ----------
    target_pct : array
        Moisture at which the grain would come to rest.
    rate : array
        Share of the way to it in a day, as minus the log of what is left [1/d].
    """

    target_pct: Floats
    rate: Floats
    wetting_factor: float
    open_below_pct: float
    open_factor: float


def wet_basis_pct(dry_basis_pct: npt.ArrayLike) -> Floats:
    """Water in percent of grain and water, from percent of dry grain.

    Examples
    --------
    >>> round(float(wet_basis_pct(18.34)), 2)
    15.5
    """
    dry = np.asarray(dry_basis_pct, float)
    return np.asarray(100 * dry / (100 + dry))


def equilibrium_pct(of: Equilibrium, temperature_c: npt.ArrayLike, humidity_pct: npt.ArrayLike) -> Floats:
    """Moisture at which grain comes to rest with air [%, wet basis] [D245, EMCT, UKE, HELS].

    Forms of the standard differ among themselves by 0.3 to 0.6 points; humidity is kept
    within 5 to 95 %, where they hold.

    Examples
    --------
    >>> from lossmap.base.reference import equilibria
    >>> round(float(equilibrium_pct(equilibria("corn")[0], 21.1, 50)), 1)
    11.2
    """
    t = np.asarray(temperature_c, float)
    humidity = np.clip(np.asarray(humidity_pct, float), *HUMIDITY_LIMITS) / 100
    return wet_basis_pct(_FORMS[of.form](of.a, of.b, of.c, t, humidity))


def _henderson(a: float, b: float, c: float, t: Floats, humidity: Floats) -> Floats:
    return np.asarray((np.log(1 - humidity) / (-a * (t + c))) ** (1 / b))


def _chung_pfost(a: float, b: float, c: float, t: Floats, humidity: Floats) -> Floats:
    # the standard's b is for moisture as a fraction
    return np.asarray(-np.log(-(t + c) * np.log(humidity) / a) / (b / 100))


def _halsey(a: float, b: float, c: float, t: Floats, humidity: Floats) -> Floats:
    return np.asarray((-np.exp(a + b * t) / np.log(humidity)) ** (1 / c))


def _oswin(a: float, b: float, c: float, t: Floats, humidity: Floats) -> Floats:
    return np.asarray((a + b * t) / (1 / humidity - 1) ** (1 / c))


_FORMS = {"henderson": _henderson, "chung_pfost": _chung_pfost, "halsey": _halsey, "oswin": _oswin}


def air(crop_name: str, weather: Seasons, figures: Mapping[str, float]) -> Air:
    """What the weather does to a crop.

    Parameters
    ----------
    crop_name : str
        With an equilibrium moisture and figures of waiting.
    weather : Seasons
    figures : mapping of str to float
        Of ``waiting.csv``, by name.
    """
    t, rain = weather.temperature_c, weather.rain_mm
    is_wet = rain > WET_MM
    humidity = np.where(is_wet, np.maximum(weather.humidity_pct, WET_HUMIDITY), weather.humidity_pct)
    target = equilibrium_pct(equilibria(crop_name)[0], t, humidity) - np.where(is_wet, 0.0, figures["drier_by_day"])
    rate = figures["drying_rate"] * figures["drying_q10"] ** ((t - 20) / 10) * np.where(t < FROST_C, figures["frost_factor"], 1.0)
    return Air(np.maximum(target, 3.0), rate, figures["wetting_factor"], figures["open_below"], figures["open_factor"])


def step(moisture_pct: Floats, target_pct: Floats, rate: Floats, of: Air) -> Floats:
    """One day on; `rate` and `target_pct` of that day, all of one shape."""
    k = rate * np.where(moisture_pct < target_pct, of.wetting_factor, np.where(moisture_pct < of.open_below_pct, of.open_factor, 1.0))
    return np.asarray(target_pct + (moisture_pct - target_pct) * np.exp(-k))


def dried(start_pct: Floats, factor: Floats, year: npt.NDArray[np.intp], of: Air, first: int, last: int) -> Floats:
    """Moisture on each day from `first` to `last`, which is drawn for many seasons at once.

    Parameters
    ----------
    start_pct, factor : array, ``[..., draw]``
        Moisture on the morning of `first`, and what the drying rate is multiplied by.
    year : array of int, ``[draw]``
        Row of `of` that each draw meets.
    of : Air
    first, last : int
        Days of `of`; the weather of a day changes the moisture of the next.

    Returns
    -------
    array, ``[day, ..., draw]``
        `last` - `first` + 1 days [%].
    """
    out = np.empty((last - first + 1, *np.broadcast_shapes(start_pct.shape, factor.shape)))
    out[0] = start_pct
    for day in range(first, last):
        out[day - first + 1] = step(out[day - first], of.target_pct[year, day], of.rate[year, day] * factor, of)
    return out


def drying_days(figures: Mapping[str, float], moisture_pct: float) -> float:
    """Days since maturity of grain that is at `moisture_pct` now, by the crop's usual drying; 0 at or above maturity's moisture."""
    return max(0.0, (figures["maturity_moisture"] - moisture_pct) / figures["usual_drying"])


def values(figures: Mapping[str, Figure], replaced: Mapping[str, float]) -> dict[str, float]:
    """The middle of each figure, or what the user put in its place."""
    return {name: replaced.get(name, figure.range.mean) for name, figure in figures.items()}
