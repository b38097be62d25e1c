"""Units: what people type to SI, and back. The only conversion factors in the tree.

A registry of our own, filled with what the trade writes and nothing else, so that a
misspelt unit is refused instead of being read as something exotic. A bushel is a
*mass* here, and only once the crop is known: grain is traded by weight divided by the
legal weight of a bushel, whatever its test weight (facts: legal weights in
``reference/crops.csv``).
"""

from __future__ import annotations

import functools
import re

import pint

from lossmap.base.errors import NoReference, SettingsError, shown

__all__ = ["factor", "grain_price", "quantity", "same_kind"]

# International foot and pound (exact since 1959); acre = 43,560 square feet.
DEFINITIONS = """
metre = [length] = m = meter = meters = metres
second = [time] = s = sec = secs = seconds
kilogram = [mass] = kg = kgs
bushel = [bushel] = bu = bushels
dollar = [money] = USD = usd
radian = []
degree = 0.017453292519943295 * radian = deg = degrees
seed = [] = seeds = kernel = kernels = bean = beans = grain = grains = count
ear = [] = ears
fraction = []
point = 0.01 = points = pct = percent
ppm = 1e-6
millimetre = 0.001 * metre = mm
centimetre = 0.01 * metre = cm
kilometre = 1000 * metre = km
inch = 0.0254 * metre = in = inches
foot = 0.3048 * metre = ft = feet
yard = 3 * foot = yd = yards
mile = 5280 * foot = mi = miles
nautical_mile = 1852 * metre = nmi
hectare = 10000 * metre ** 2 = ha = hectares
acre = 43560 * foot ** 2 = ac = acres
litre = 0.001 * metre ** 3 = L = l = liter
minute = 60 * second = min = minutes
hour = 3600 * second = h = hr = hrs = hours
day = 86400 * second = d = days
millisecond = 0.001 * second = ms
gram = 0.001 * kilogram = g = grams
milligram = 1e-6 * kilogram = mg
tonne = 1000 * kilogram = t = tonnes
quintal = 100 * kilogram = q = dt
pound = 0.45359237 * kilogram = lb = lbs = pounds
hundredweight = 100 * pound = cwt
mph = 5280 * foot / hour
kph = 1000 * metre / hour = kmh
knot = 1852 * metre / hour = kn = kt = knots
ft2 = foot ** 2 = sqft
m2 = metre ** 2 = sqm
in2 = inch ** 2
"""

_NUMBER = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_SPELLINGS = (
    (re.compile(r"%"), " percent "),
    (re.compile(r"°"), " degree "),
    (re.compile(r"²"), "**2"),
    (re.compile(r"\bsq\.?\s*(ft|m|in)\b"), r"\g<1>2"),
    (re.compile(r"\b(ft|m|in)\^2\b"), r"\g<1>2"),
    (re.compile(r"\bper\b"), "/"),
    (re.compile(r"·"), "*"),
)
_SAFE = re.compile(r"^[A-Za-z0-9_ ./*()-]*$")


@functools.cache
def _registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry(DEFINITIONS.strip().splitlines(), cache_folder=None)


@functools.lru_cache(maxsize=512)
def _parse(unit: str) -> pint.Quantity[float]:
    """One of `unit` as a quantity of the registry."""
    text = unit.strip()
    for pattern, plain in _SPELLINGS:
        text = pattern.sub(plain, text)
    text = text.strip().rstrip(".")
    if len(text) > 40 or not _SAFE.match(text) or "**" in text.replace("**2", ""):
        raise NoReference(f'"{shown(unit)}" is not a unit lossmap knows')
    registry = _registry()
    for spelling in (text, text.lower()):
        try:
            return registry.Quantity(1.0, registry.parse_units(spelling))
        except Exception:  # pint raises many kinds, tokenizer errors among them
            continue
    raise NoReference(f'"{shown(unit)}" is not a unit lossmap knows')


@functools.lru_cache(maxsize=1024)
def factor(unit: str, to: str, bushel_lb: float | None = None) -> float:
    """How many `to` there are in one `unit`.

    Parameters
    ----------
    unit, to : str
        As people write them: ``"bu/ac"``, ``"lb/s"``, ``"mph"``, ``"%"``, ``"ft2"``.
    bushel_lb : float, optional
        Legal weight of a bushel of the crop [lb]; needed where one side is in bushels.

    Raises
    ------
    NoReference
        A unit is not known, the two measure different things, or a bushel's weight is missing.

    Examples
    --------
    >>> round(factor("bu/ac", "kg/ha", bushel_lb=56), 3)
    62.768
    """
    registry = _registry()
    one = _parse(unit) / _parse(to)
    bushels = one.dimensionality.get("[bushel]", 0)
    if bushels:
        one = one * (registry.Quantity(1.0 if bushel_lb is None else bushel_lb, "pound / bushel")) ** bushels
    # of two kinds whatever a bushel weighs: that is said first
    if bushels and bushel_lb is None and one.dimensionless:
        raise NoReference(f'"{shown(unit)}" needs a crop that is sold by the bushel')
    if not one.dimensionless:
        raise NoReference(f'"{shown(unit)}" cannot be turned into {to}')
    return float(one.to_base_units().magnitude)


def same_kind(unit: str, to: str, bushel_lb: float | None = None) -> bool:
    """Whether `unit` is known and measures what `to` measures."""
    try:
        factor(unit, to, bushel_lb)
    except NoReference:
        return False
    return True


def quantity(text: object, to: str, bushel_lb: float | None = None) -> float:
    """Read "40 ft" as a number of `to`.

    A bare number is refused: it would be read in one unit by whoever wrote it and in
    another by whoever runs it. Numbers that are already SI do not come this way.

    Raises
    ------
    SettingsError
        Not a number with a unit, or a unit of another kind.
    """
    match = _NUMBER.match(text) if isinstance(text, str) else None
    number, unit = match.groups() if match else ("", "")
    if not unit:
        found = f'"{shown(text)}"' if isinstance(text, str) else shown(text)
        raise SettingsError(f"{found} is not a number with a unit; write for example {_example(to)}")
    try:
        return float(number) * factor(unit, to, bushel_lb)
    except NoReference as refusal:
        raise SettingsError(f"{refusal}; write for example {_example(to)}") from refusal


#: Seed for sowing, the dearest grain there is, stays below [USD/kg].
MOST_USD_KG = 100.0


def grain_price(text: object, bushel_lb: float | None = None) -> float:
    """A price as typed ("4.20 USD/bu", "170 USD/t") [USD/kg].

    Raises
    ------
    SettingsError
        No number with a unit of money by mass, bushels of a crop that has none, or nothing
        that grain costs.
    """
    price = quantity(text, "USD/kg", bushel_lb)
    if not 0 < price <= MOST_USD_KG:
        raise SettingsError(
            f'"{shown(text)}" is no price of grain (above 0, at most {MOST_USD_KG:g} USD/kg); write for example {_example("USD/kg")}'
        )
    return price


_EXAMPLES = {
    "m": "30 ft",
    "m2": "1 ft2",
    "m/s": "4.5 mph",
    "s": "3 s",
    "g": "290 g",
    "kg/ha": "60 kg/ha",
    "percent": "15.5 %",
    "ha": "0.5 ac",
    "deg": "30 deg",
    "USD/h": "300 USD/h",
    "USD/kg": "4.20 USD/bu",
    "USD/m": "6 USD/mile",
    "ha/s": "12 ac/h",
}


def _example(to: str) -> str:
    return f'"{_EXAMPLES.get(to, f"1 {to}")}"'
