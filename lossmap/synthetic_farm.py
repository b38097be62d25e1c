"""Made farms with known truth: weather from a seeded generator, and fields whose drying and loss are set by us."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from lossmap.base.farm import Combine, Farm, Money, Reading, StandingField
from lossmap.base.grid import Floats
from lossmap.base.reference import crop, waiting
from lossmap.base.tables import WEATHER
from lossmap.base.units import factor

__all__ = ["FarmPlan", "FieldTruth", "MadeFarm", "made_farm", "made_weather", "made_years", "write_farm"]

#: Where the invented farm lies.
_WEST, _SOUTH = -93.42, 42.31


@dataclass(frozen=True)
class FarmPlan:
    """What a made farm is like.

    Attributes
    ----------
    fields, combines : int
    rate_ac_h : float
        Of each combine.
    on : date
        The first day of the plan.
    years : int
        Of past weather.
    spread_ac : (float, float)
        Smallest and largest field.
    reading_error_pct : float
        Standard error of a reading [points].
    rate_sd, loss_sd : float
        Log standard deviation of a field's own drying rate, and of loss by crop and source.
    """

    fields: int = 15
    combines: int = 1
    rate_ac_h: float = 12.0
    on: datetime.date = datetime.date(2025, 9, 25)
    years: int = 25
    spread_ac: tuple[float, float] = (40.0, 140.0)
    reading_error_pct: float = 1.0
    rate_sd: float = 0.12
    loss_sd: float = 0.4


@dataclass(frozen=True)
class FieldTruth:
    """What is true of one field and nobody knows: moisture on the morning of the first day [%], and factors on its crop's usual."""

    moisture_pct: float
    rate: float
    before: float
    machine: float


@dataclass(frozen=True)
class MadeFarm:
    """A farm as its owner knows it, its past weather, and the truth of the season to come.

    Attributes
    ----------
    farm : Farm
        With one reading of each field, of the first day.
    past : WEATHER
        Of whole years before the season's.
    season : WEATHER
        Of the season itself, from two weeks before its first day on.
    truth : tuple of FieldTruth
    """

    farm: Farm
    past: pd.DataFrame
    season: pd.DataFrame
    truth: tuple[FieldTruth, ...]


def made_farm(plan: FarmPlan, rng_seed: int) -> MadeFarm:
    """A farm of corn and soybean, its past weather and its season.

    Parameters
    ----------
    plan : FarmPlan
    rng_seed : int
        Same plan and seed, same farm.
    """
    rng = np.random.default_rng(rng_seed)
    losses = {name: np.exp(plan.loss_sd * rng.standard_normal(2) - plan.loss_sd**2 / 2) for name in ("corn", "soybean")}
    fields, truth = [], []
    for number in range(plan.fields):
        field, true = _field(plan, number, losses, rng)
        fields.append(field)
        truth.append(true)
    combines = tuple(Combine(f"combine {n + 1}", plan.rate_ac_h * factor("ac/h", "ha/h"), 10.0) for n in range(plan.combines))
    money = {name: _money(name, price) for name, price in (("corn", 4.2), ("soybean", 11.0))}
    past = made_years(range(plan.on.year - plan.years, plan.on.year), int(rng.integers(2**31)))
    season = made_weather(str(plan.on - datetime.timedelta(days=14)), 160, int(rng.integers(2**31)))
    farm = Farm(Path("made-farm"), "Made farm", tuple(fields), combines, money, "weather.csv", ("history.csv",))
    return MadeFarm(farm, past, season, tuple(truth))


def _field(plan: FarmPlan, number: int, losses: dict[str, Floats], rng: np.random.Generator) -> tuple[StandingField, FieldTruth]:
    """One field, read once on the first day, and what is true of it."""
    name = "soybean" if rng.random() < 0.4 else "corn"
    grown = crop(name)
    usual, low, high = (55.0, 12.0, 24.0) if name == "soybean" else (190.0, 19.0, 32.0)
    moisture = float(rng.uniform(low, high))
    matured = plan.on - datetime.timedelta(days=int(rng.integers(3, 26)))
    read = round(moisture + plan.reading_error_pct * rng.standard_normal(), 1)
    field = StandingField(
        name=f"{_NAMES[number % len(_NAMES)]}{'' if number < len(_NAMES) else f' {number // len(_NAMES) + 1}'}",
        crop=grown,
        area_ha=round(float(rng.uniform(*plan.spread_ac)) * factor("ac", "ha"), 2),
        yield_kg_ha=round(usual * float(rng.uniform(0.8, 1.2)) * factor("bu/ac", "kg/ha", grown.bushel_lb)),
        readings=(Reading(plan.on, max(read, 8.0)),),
        standability=float(rng.choice([0, 0, 1, 1, 2, 3])),
        matured_on=matured,
        place=(round(_WEST + float(rng.uniform(0, 0.16)), 5), round(_SOUTH + float(rng.uniform(0, 0.1)), 5)),
    )
    before, machine = losses[name]
    return field, FieldTruth(moisture, float(np.exp(plan.rate_sd * rng.standard_normal())), float(before), float(machine))


# fmt: off
_NAMES = (
    "Willow bend", "Long hill", "Stone gate", "Dry run", "Heron", "Old orchard", "Three oaks", "Low meadow", "Windmill", "Fox corner",
    "Mill race", "Clay knob", "Sandy eighty", "Ridge top", "Spring head", "Plum thicket", "Far forty", "Church side", "Badger", "Hawk flat",
)
# fmt: on


def _money(name: str, price_usd_bu: float) -> Money:
    bushel_kg = factor("bu", "kg", crop(name).bushel_lb)
    figures = {key: figure.range.mean for key, figure in waiting(name).items()}
    return Money(price_usd_bu / bushel_kg, figures["drying_cost"] / bushel_kg, figures["shrink"], figures["handling"])


def write_farm(made: MadeFarm, folder: Path, until: datetime.date) -> None:
    """The farm as its owner would write it down on the morning of `until`.

    Parameters
    ----------
    made : MadeFarm
    folder : Path
        Made if it is not there.
    until : date
        Weather up to the day before is known, and four days of forecast from it on.
    """
    folder.mkdir(parents=True, exist_ok=True)
    season = made.season[made.season["day_on"] < pd.Timestamp(until + datetime.timedelta(days=4))]
    # the part of a year that a harvest can lie in: small files
    past = made.past[made.past["day_on"].dt.month >= 9]
    texts = {"farm.toml": _farm_toml(made.farm), "readings.csv": _readings_csv(made.farm)}
    texts |= {"weather.csv": _weather_csv(season), "history.csv": _weather_csv(past)}
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


def _farm_toml(farm: Farm) -> str:
    lines = [f'name = "{farm.name}"', 'weather = "weather.csv"     # this season, and a forecast of four days', 'history = "history.csv"']
    lines += ['readings = "readings.csv"   # a row for each reading, and for each field cut']
    for combine in farm.combines:
        rate_ac_h = combine.rate_ha_h * factor("ha/h", "ac/h")
        lines += ["", "[[combine]]", f'name = "{combine.name}"']
        lines += [f'rate = "{rate_ac_h:g} ac/h"', f'hours_per_day = "{combine.hours_per_day:g} h"']
    for name, of_crop in farm.money.items():
        price = of_crop.price_usd_kg * factor("bu", "kg", crop(name).bushel_lb)
        lines += ["", f"[money.{name}]", f'price = "{price:.2f} USD/bu"']
    for field in farm.fields:
        lines += ["", "[[field]]", *_standing(field)]
    return "\n".join(lines) + "\n"


def _standing(field: StandingField) -> list[str]:
    """The lines of one field; what nobody knows is left out."""
    bushels = field.yield_kg_ha * factor("kg/ha", "bu/ac", field.crop.bushel_lb)
    lines = [f'name = "{field.name}"', f'crop = "{field.crop.name}"']
    lines += [f'area = "{field.area_ha * factor("ha", "ac"):.0f} ac"', f'expected_yield = "{bushels:.0f} bu/ac"']
    if field.standability is not None:
        lines.append(f"standability = {field.standability:g}")
    if field.matured_on is not None:
        lines.append(f"matured_on = {field.matured_on}")
    if field.place is not None:
        lines.append(f"location = [{field.place[0]}, {field.place[1]}]")
    return lines


def _readings_csv(farm: Farm) -> str:
    rows = [(reading.on, field.name, reading.moisture_pct) for field in farm.fields for reading in field.readings]
    return "field,date,moisture_pct,cut\n" + "".join(f"{name},{on},{moisture:.1f},\n" for on, name, moisture in sorted(rows))


def _weather_csv(table: pd.DataFrame) -> str:
    shown = pd.DataFrame({"date": table["day_on"].dt.strftime("%Y-%m-%d")})
    for name in ("tmin_c", "tmax_c", "rain_mm", "dewpoint_c"):
        shown[name] = table[name].round(1)
    return str(shown.to_csv(index=False, lineterminator="\n"))


def made_weather(first: str, days: int, rng_seed: int, *, humidity: bool = True, wet: float = 0.28) -> pd.DataFrame:
    """Daily weather of a made mid-latitude place (table WEATHER).

    Temperature: a yearly wave (10 C, 14 C either way) and a first-order process of 3.5 C.
    Rain: a day is wet with chance `wet`, more likely after a wet one; amounts are
    gamma-distributed, 7 mm in the mean. Nights are 11 C below the day, 6 C when it rains.

    Parameters
    ----------
    first : str
        The first day, as 2025-09-25.
    days : int
    rng_seed : int
    humidity : bool
        Whether dew points are told; relative humidity never is.
    wet : float
        Share of days with rain, about.
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
    """Whole years of `made_weather` (table WEATHER), ``years.stop`` left out."""
    first = datetime.date(years.start, 1, 1)
    return made_weather(str(first), (datetime.date(years.stop, 1, 1) - first).days, rng_seed, humidity=humidity)
