"""Numbers as people read them: the only place that speaks bu/ac, mph and ac.

Everything inside lossmap is SI. Here each kind of value gets its unit, its factor and its
number of decimals, once, for the sentences of the pages, for the drawings and for the
map's own script. An interval is always a 90 % one: "1.6 bu/ac (1.0 to 2.2)".
"""

from __future__ import annotations

import dataclasses
import datetime
import math
import re
from dataclasses import dataclass
from typing import Literal

from lossmap.base.estimates import Estimate
from lossmap.base.reference import Crop
from lossmap.base.units import factor, quantity

__all__ = ["NOT_KNOWN", "ODDS", "Scale", "Words", "bushels_ac", "count_of", "day_of", "plain", "sentence", "short_day"]

Units = Literal["us", "metric"]

#: What stands in place of a number that nobody can give.
NOT_KNOWN = "not known"

#: What a 90 % interval says, for people.
ODDS = "9 times in 10"

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# A quantity in the units of the trade and in metric ones.
_TWICE = re.compile(r"\{([^{}|]+)\|([^{}|]+)\}")


@dataclass(frozen=True)
class Scale:
    """How one kind of value is shown: an SI value times `factor` is a number of `unit`.

    `significant` figures are shown, with at most `most` decimals: a loss of 0.25 bu/ac
    needs its second decimal, one of 12 bu/ac has none to give.
    """

    factor: float
    unit: str
    significant: int
    most: int

    def places(self, value: float) -> int:
        """Decimals for `value` [SI], and for the interval around it."""
        size = abs(value * self.factor)
        if not math.isfinite(size) or size == 0:
            return self.most
        return min(self.most, max(0, self.significant - 1 - math.floor(math.log10(size))))

    def number(self, value: float, places: int | None = None) -> str:
        """`value` [SI] without its unit."""
        if not math.isfinite(value):
            return NOT_KNOWN
        return plain(value * self.factor, self.places(value) if places is None else places)

    def text(self, value: float) -> str:
        """`value` [SI] with its unit."""
        return f"{self.number(value)} {self.unit}" if math.isfinite(value) else NOT_KNOWN

    def interval(self, estimate: Estimate) -> str:
        """An estimate with its unit and doubt: "1.6 bu/ac (1.0 to 2.2)"; "under 1.2 bu/ac" where it cannot be told from none."""
        if not estimate:
            return NOT_KNOWN
        if estimate.high > 0 and round(estimate.mean * self.factor, self.places(estimate.high)) == 0:
            return f"under {self.text(estimate.high)}"  # a bare nought would be read as none
        return f"{self.text(estimate.mean)} ({self.ends(estimate)})"

    def ends(self, estimate: Estimate) -> str:
        """The doubt alone: "1.0 to 2.2", with the decimals of the mean."""
        places = self.places(estimate.mean)
        return f"{self.number(estimate.low, places)} to {self.number(estimate.high, places)}"


@dataclass(frozen=True)
class Words:
    """The scales of one crop in one system of units.

    Parameters
    ----------
    crop : Crop
        Its bushel decides between bu/ac and lb/ac.
    units : "us" or "metric"
    """

    crop: Crop
    units: Units

    @property
    def us(self) -> bool:
        """Whether people read bushels, acres and miles."""
        return self.units == "us"

    @property
    def loss(self) -> Scale:
        """Loss, from kg/ha."""
        if not self.us:
            return Scale(1.0, "kg/ha", 2, 1)
        if self.crop.bushel_lb is None:
            return Scale(factor("kg/ha", "lb/ac"), "lb/ac", 2, 1)
        return Scale(bushels_ac(self.crop), "bu/ac", 2, 2)

    @property
    def harvest(self) -> Scale:
        """Yield, from kg/ha."""
        if not self.us:
            return Scale(0.001, "t/ha", 3, 1)
        if self.crop.bushel_lb is None:
            return Scale(factor("kg/ha", "lb/ac"), "lb/ac", 3, 0)
        return Scale(bushels_ac(self.crop), "bu/ac", 3, 0)

    @property
    def roughness(self) -> Scale:
        """Spread and noise of yield, from kg/ha: a decimal more than the yields themselves."""
        return dataclasses.replace(self.harvest, most=self.harvest.most + 1)

    @property
    def grain(self) -> Scale:
        """Grain of a field together, from kg."""
        if not self.us:
            return Scale(0.001, "t", 3, 2)
        if self.crop.bushel_lb is None:
            return Scale(factor("kg", "lb"), "lb", 4, 0)
        return Scale(factor("kg", "bu", self.crop.bushel_lb), "bu", 4, 0)

    @property
    def other_loss(self) -> Scale:
        """Loss in the other system, for those who think in it."""
        return Words(self.crop, "metric" if self.us else "us").loss

    @property
    def speed(self) -> Scale:
        """Ground speed, from m/s."""
        return Scale(factor("m/s", "mph"), "mph", 2, 1) if self.us else Scale(3.6, "km/h", 2, 1)

    @property
    def moisture(self) -> Scale:
        """Grain moisture, from percent."""
        return Scale(1.0, "%", 3, 1)

    @property
    def area(self) -> Scale:
        """Area, from ha."""
        return Scale(factor("ha", "ac"), "ac", 3, 1) if self.us else Scale(1.0, "ha", 3, 1)

    @property
    def length(self) -> Scale:
        """Distance on the ground, from m."""
        return Scale(factor("m", "ft"), "ft", 3, 0) if self.us else Scale(1.0, "m", 3, 0)

    @property
    def distance(self) -> Scale:
        """From field to field, from m."""
        return Scale(factor("m", "mile"), "mi", 3, 1) if self.us else Scale(0.001, "km", 3, 1)

    @property
    def frame(self) -> Scale:
        """Area of a counting frame, from m2."""
        return Scale(factor("m2", "ft2"), "sq ft", 2, 1) if self.us else Scale(1.0, "m2", 2, 2)

    @property
    def seeds(self) -> Scale:
        """Seeds on the ground, from seeds a square metre."""
        return Scale(1 / factor("m2", "ft2"), "seeds a square foot", 2, 1) if self.us else Scale(1.0, "seeds a square metre", 2, 0)

    @property
    def money_per_area(self) -> Scale:
        """Money lost, from USD/ha."""
        return Scale(1 / factor("ha", "ac"), "USD/ac", 3, 2) if self.us else Scale(1.0, "USD/ha", 3, 2)

    @property
    def waiting(self) -> Scale:
        """What waiting costs, from USD/ha: weather to come leaves it no third figure."""
        return dataclasses.replace(self.money_per_area, significant=2, most=1)

    @property
    def money(self) -> Scale:
        """Money, from USD."""
        return Scale(1.0, "USD", 3, 0)

    @property
    def money_an_hour(self) -> Scale:
        """Money by hour of the combine, from USD/h."""
        return Scale(1.0, "USD an hour", 2, 0)

    @property
    def percent(self) -> Scale:
        """Shares, from percent."""
        return Scale(1.0, "%", 2, 1)

    @property
    def seconds(self) -> Scale:
        """Short times, from s."""
        return Scale(1.0, "s", 2, 1)

    def speeds_to_set(self, low_m_s: float, high_m_s: float) -> str:
        """A range of ground speeds as exactly as a driver can hold one: "3.6 to 4.2 mph"; always a range."""
        step = 0.1 if self.us else 0.2
        low, high = (round(value * self.speed.factor / step) for value in (low_m_s, high_m_s))
        if low == high:
            low, high = low - 1, high + 1
        return f"{plain(low * step, 1)} to {plain(high * step, 1)} {self.speed.unit}"

    def step(self, driver: str, effect_step: str) -> str:
        """A driver's step as people say it: "+0.5 m/s" is "each 1.1 mph faster"."""
        if driver == "speed":
            return f"each {self.speed.text(abs(quantity(effect_step, 'm/s')))} faster"
        return f"each {count_of(abs(quantity(effect_step, 'percent')), 'point')} drier"

    def told(self, text: str) -> str:
        """A text of the reference tables, whose quantities stand in it twice, ``{6 to 12 in|15 to 30 cm}``: with one of each."""
        return _TWICE.sub(r"\1" if self.us else r"\2", text)

    @property
    def price_example(self) -> str:
        """A price as people would type it."""
        if not self.us:
            return "170 USD/t"
        return "4.20 USD/bu" if self.crop.bushel_lb is not None else "0.25 USD/lb"


def plain(value: float, places: int) -> str:
    """A number with a comma at thousands, and never a minus before nothing."""
    text = f"{value:,.{places}f}"
    return text.removeprefix("-") if not text.strip("-0.,") else text


def count_of(number: float, noun: str) -> str:
    """ "1 stop", "12 stops", "1.5 points"."""
    return f"{number:,g} {noun}{'' if number == 1 else 's'}"


def day_of(on: datetime.date) -> str:
    """A day that no reader takes for another: 18 Oct 2025."""
    return f"{short_day(on)} {on.year}"


def short_day(on: datetime.date) -> str:
    """The same where the year is clear: 18 Oct."""
    # of our own: strftime speaks the machine's language
    return f"{on.day} {_MONTHS[on.month - 1]}"


def sentence(note: str) -> str:
    """A note that stood behind a colon, on its own, with a capital and one full stop."""
    note = note.strip()
    note = note[:1].upper() + note[1:]
    return note if note.endswith((".", "!", "?")) else f"{note}."


def bushels_ac(crop: Crop) -> float:
    """How many bu/ac there are in 1 kg/ha of `crop`, which must be sold by the bushel."""
    return factor("kg/ha", "bu/ac", crop.bushel_lb)
