"""Each field over the seasons that may come: its moisture, what it would bring on each day, and the hours there are to cut it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from lossmap.base.errors import NoReference, SettingsError, TooLittleData
from lossmap.base.farm import Farm, StandingField
from lossmap.base.grid import Floats
from lossmap.base.rank_settings import RankSettings
from lossmap.base.reference import waiting
from lossmap.drydown.moisture import air, dried, drying_days, values
from lossmap.drydown.money import PARTS, Worth, worth
from lossmap.drydown.readings import normal_scores, today
from lossmap.drydown.waiting import OwnLoss, lost, stalk_factor, wettings
from lossmap.drydown.weather import Seasons, fit_shares, seasons

__all__ = ["Outlook", "outlook"]

#: Days that can be looked ahead at most, and how much more than the work the hours must be.
MOST_DAYS = 200
ROOM = 1.25


@dataclass(frozen=True)
class Outlook:
    """What may come of every standing field.

    Attributes
    ----------
    fields : tuple of StandingField
        Those not yet cut.
    weather : Seasons
    year : array of int, ``[draw]``
        Row of the weather that each draw meets.
    moisture_pct, net_usd_ha, grain_kg_ha : array, ``[field, day, draw]``
        If cut on a day from today on; net of loss and drying, and the grain brought in.
    parts_usd_ha : array, ``[field, day, part]``
        Means of where the rest of the money goes (`drydown.money.PARTS`).
    day_of : array of int, ``[draw, slot]``
        Day on which each slot of hours fit for harvest falls.
    slot_h : float
        Hours in a slot, of the machine with the longest day.
    """

    fields: tuple[StandingField, ...]
    weather: Seasons
    year: npt.NDArray[np.intp]
    moisture_pct: Floats
    net_usd_ha: Floats
    grain_kg_ha: Floats
    parts_usd_ha: Floats
    day_of: npt.NDArray[np.intp]
    slot_h: float

    @property
    def days(self) -> int:
        """From today on."""
        return int(self.net_usd_ha.shape[1])

    @property
    def slots(self) -> int:
        """Length of the time line."""
        return int(self.day_of.shape[1])

    def cost_usd_ha(self) -> Floats:
        """Expected cost of cutting a field in a slot, above its cheapest, ``[field, slot]``."""
        # the mean over draws of a curve by slot, field by field to keep memory small
        draws = np.arange(len(self.year))[:, None]
        cost = np.stack([-net.T[draws, self.day_of].mean(axis=0, dtype=float) for net in self.net_usd_ha])
        return np.asarray(cost - cost.min(axis=1, keepdims=True))

    def net_when(self, field: int, start: int, end: int) -> Floats:
        """What a hectare of a field brings if it is cut from slot to slot, ``[draw]``."""
        return self._mean_over(self.net_usd_ha[field], start, end)

    def moisture_when(self, field: int, start: int, end: int) -> Floats:
        """Its moisture then, ``[draw]``."""
        return self._mean_over(self.moisture_pct[field], start, end)

    def _mean_over(self, by_day: Floats, start: int, end: int) -> Floats:
        days = self.day_of[:, start:end]
        return np.asarray(by_day[days, np.arange(len(self.year))[:, None]].mean(axis=1, dtype=float))


def outlook(farm: Farm, record: pd.DataFrame, on: datetime.date, settings: RankSettings) -> Outlook:
    """Draw the seasons.

    Parameters
    ----------
    farm : Farm
    record : WEATHER
    on : date
        Today: readings are not after it.
    settings : RankSettings

    Raises
    ------
    SettingsError
        A reading lies after today, a standing field has none, or a price is missing.
    NoReference
        A crop whose drying no source tells.
    TooLittleData
        No field stands, too few years of weather, or more work than a season has hours.
    """
    fields = tuple(field for field in farm.fields if field.cut_on is None)
    figures = _figures(farm, fields, on, settings)
    first_on = min(field.readings[0].on for field in fields)
    weather, day_of = _time(farm, fields, record, (first_on, on), settings)
    draws = _Draws(farm, figures, weather, on, settings)
    shape = (len(fields), weather.days - weather.today, len(draws.year))
    moisture, net, grain = (np.empty(shape, dtype=np.float32) for _ in range(3))
    parts = np.empty((*shape[:2], len(PARTS)))
    for number, field in enumerate(fields):
        moisture[number], value = draws.of_field(field)
        net[number], grain[number] = value.net, value.grain_kg_ha
        parts[number] = np.stack([value.parts[name].mean(axis=-1) for name in PARTS], axis=-1)
    return Outlook(fields, weather, draws.year, moisture, net, grain, parts, day_of[draws.year], settings.search.slot)


class _Draws:
    """Seasons drawn for a farm: which weather each meets, and what of reading, drying and loss is not known.

    All draws come from one stream, the crops' first and then each field's as it is asked
    for, so the fields must be asked for in their order.
    """

    def __init__(
        self, farm: Farm, figures: Mapping[str, Mapping[str, float]], weather: Seasons, on: datetime.date, settings: RankSettings
    ) -> None:
        self.farm, self.figures, self.weather, self.on, self.doubt = farm, figures, weather, on, settings.doubt
        self.rng = np.random.default_rng(settings.rng_seed)
        self.year = np.arange(settings.doubt.seasons) % len(weather.years)
        self.airs = {crop: air(crop, weather, of_crop) for crop, of_crop in figures.items()}
        # what published losses before harvest and in the machine are multiplied by
        sd = settings.doubt.loss / 100
        self.losses = {crop: (self._factors(sd), self._factors(sd)) for crop in figures}

    def of_field(self, field: StandingField) -> tuple[Floats, Worth]:
        """Its moisture on each day from today on, and what it would bring, ``[day, draw]``."""
        figures, of, weather = self.figures[field.crop.name], self.airs[field.crop.name], self.weather
        now = today(field.readings, weather, of, self.doubt, self.year, self.rng)
        moisture = dried(now.moisture_pct, now.factor, self.year, of, weather.today, weather.days - 1)
        before, machine = self.losses[field.crop.name]
        if field.measured is not None:
            machine = self._factors(field.measured.share.log_sd)
        own = OwnLoss(stalk_factor(field.standability), field.measured, before, machine)
        age = days_since_maturity(field, figures, self.on) + np.arange(len(moisture))[:, None]
        waste = lost(moisture, age, wettings(moisture), figures, own)
        money, market = self.farm.money[field.crop.name], field.crop.market_moisture_pct
        return moisture, worth(field.yield_kg_ha, moisture, waste, money, market, figures["cut_below"])

    def _factors(self, sd: float) -> Floats:
        """Log-normal, mean 1, ``[draw]``."""
        return np.asarray(np.exp(sd * normal_scores(self.rng, len(self.year)) - sd**2 / 2))


def days_since_maturity(field: StandingField, figures: Mapping[str, float], on: datetime.date) -> float:
    """Days since the field matured; where nobody wrote it down, by its crop's usual drying up to its first reading."""
    if field.matured_on is not None:
        return float((on - field.matured_on).days)
    first = field.readings[0]
    return drying_days(figures, first.moisture_pct) + (on - first.on).days


def _figures(farm: Farm, fields: Sequence[StandingField], on: datetime.date, settings: RankSettings) -> dict[str, dict[str, float]]:
    """Figures of each crop that stands; all that forbids a plan, in one message."""
    where = f"{farm.id}/farm.toml"
    if not fields:
        raise TooLittleData(f"{where}: every field is cut; there is nothing to put in order")
    try:
        known = {crop: waiting(crop) for crop in sorted({field.crop.name for field in fields})}
    except NoReference as unknown:
        raise NoReference(f"{where}: {unknown}; leave its fields out") from unknown
    days = [reading.on for field in fields for reading in field.readings]
    if days and on < min(days):
        raise SettingsError(f"{where}: every reading lies after the day of the plan ({on}; the first is of {min(days)}); give another --on")
    faults = [fault for field in fields for fault in _field_faults(field, on)]
    faults += [f'no price for {crop}; add [money.{crop}] with price = "4.20 USD/bu"' for crop in known if crop not in farm.money]
    if faults:
        raise SettingsError("\n".join(f"{where}: {fault}" for fault in faults))
    return {crop: values(figures, settings.figures.get(crop, {})) for crop, figures in known.items()}


def _field_faults(field: StandingField, on: datetime.date) -> list[str]:
    if not field.readings:
        return [f"{field.name}: has no moisture; give moisture and measured_on, or a row of readings"]
    late = [reading.on for reading in field.readings if reading.on > on]
    faults = (
        [f"{field.name}: was measured on {late[0]}, after the day of the plan ({on}); correct the date, or give another --on"]
        if late
        else []
    )
    if field.matured_on is not None and field.matured_on > on:
        faults.append(f"{field.name}: matured_on {field.matured_on} lies after the day of the plan ({on}); correct it, or leave it out")
    if (on - field.readings[-1].on).days > 120:
        faults.append(
            f"{field.name}: its last reading is of {field.readings[-1].on}, more than 120 days before {on}; "
            "measure it, or give another --on"
        )
    return faults


def _time(
    farm: Farm, fields: Sequence[StandingField], record: pd.DataFrame, dates: tuple[datetime.date, datetime.date], settings: RankSettings
) -> tuple[Seasons, npt.NDArray[np.intp]]:
    """Weather and time line, as long as the settings say or the work needs; the day of each slot, ``[year, slot]``."""
    work = sum(field.area_ha for field in fields) / sum(farm.pace_ha_h(combine) for combine in farm.combines)
    work += settings.moves.setup * len(fields) / len(farm.combines)
    days = round(settings.years.season)
    while True:
        weather = seasons(record, *dates, settings.years, days)
        shares = fit_shares(weather.rain_mm, weather.first_on, settings.hours)[:, weather.today :]
        hours = shares.sum(axis=1) * farm.long_day_h
        if hours.mean() >= ROOM * work:
            return weather, _day_of(shares * farm.long_day_h, int(hours.mean() / settings.search.slot), settings.search.slot)
        if days >= MOST_DAYS:
            raise TooLittleData(
                f"{farm.id}/farm.toml: cutting takes about {work:,.0f} h and {days} days have {hours.mean():,.0f} h fit for harvest; "
                "add combines, or leave fields out"
            )
        days = min(MOST_DAYS, days + 25)


def _day_of(hours: Floats, slots: int, slot_h: float) -> npt.NDArray[np.intp]:
    """Day on which each slot falls, ``[year, slot]``; beyond a year's hours its last day."""
    middle = (np.arange(slots) + 0.5) * slot_h
    return np.stack([np.minimum(np.searchsorted(np.cumsum(year), middle), len(year) - 1) for year in hours])
