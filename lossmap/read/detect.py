"""Which column plays which role, and in which unit: names give candidates, values decide.

First honest version: trade words and the unit in a header, checked against what the
values can be. Nothing is guessed: a column whose unit is not written down, and whose
values fit more than one, is asked for.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from lossmap.base.errors import NoReference, ReadError, near, shown
from lossmap.base.field import ROLES, ColumnChoice
from lossmap.base.grid import Floats
from lossmap.base.units import factor, same_kind
from lossmap.read.raw import Raw, column_numbers

__all__ = ["Detected", "columns_of", "header_words", "understood", "unit_in_header"]


@dataclass(frozen=True)
class Detected:
    """One role found: its column, the unit it stands in, and how that was decided."""

    role: str
    column: str
    unit: str
    how: str
    factor: float


@dataclass(frozen=True)
class _Role:
    words: tuple[str, ...]
    least: float = -np.inf
    most: float = np.inf
    # units that may be taken without being written down, if the values fit just one of them
    plain: tuple[str, ...] = ()


# Trade words met in open logs; limits are of the median, in SI, and refuse only the impossible.
_ROLES: dict[str, _Role] = {
    "longitude": _Role(("longitude", "long", "lon", "lng", "gps longitude"), -180, 180, ("deg",)),
    "latitude": _Role(("latitude", "lat", "gps latitude"), -90, 90, ("deg",)),
    "easting": _Role(("easting", "utm x", "x utm", "east"), 0, 1e7, ("m",)),
    "northing": _Role(("northing", "utm y", "y utm", "north"), -1e7, 1e7, ("m",)),
    "time": _Role(("iso time", "timestamp", "time", "date time", "datetime", "gps time", "utc time", "time utc")),
    # no name is trusted for this one: identifiers of all kinds look like running numbers
    "record": _Role(()),
    "mass_flow": _Role(("mass flow", "grain flow", "crop flow", "crop flow mass", "flow", "grain mass flow"), 0, 60),
    "yield": _Role(("yield", "dry yield", "yield dry", "grain yield", "yield volume dry"), 1, 60_000),
    "moisture": _Role(("moisture", "grain moisture", "moist", "crop moisture"), 3, 70, ("percent", "fraction", "ppm")),
    "speed": _Role(("ground speed", "speed", "velocity", "vehicle speed"), 0.1, 6),
    "distance": _Role(("distance", "dist", "distance travelled", "distance traveled"), 0.05, 40),
    "interval": _Role(("interval", "seconds", "duration", "cycle", "logging interval", "time step"), 0.05, 60),
    "width": _Role(("swath width", "header width", "cut width", "working width", "width", "swath"), 0.5, 30),
    "heading": _Role(("heading", "track", "bearing", "course", "track angle"), 0, 360, ("deg",)),
    "work": _Role(("work state", "header status", "header state", "work", "status header")),
    "machine": _Role(("machine", "combine", "vehicle", "machine id")),
    "pass": _Role(("pass", "pass number", "pass num", "pass id")),
    "elevation": _Role(("elevation", "altitude", "height"), -500, 9000),
}

#: Roles without a unit: their text is read, not measured.
_WORDS_ONLY = ("time", "record", "work", "machine", "pass")

_UNIT_BRACKETS = re.compile(r"[\(\[]\s*([^\)\]]+?)\s*[\)\]]")
_SPLIT = re.compile(r"[^A-Za-z0-9%²]+")


def columns_of(raw: Raw, chosen: Mapping[str, ColumnChoice], bushel_lb: float | None) -> list[Detected]:
    """Every role that the file's columns play.

    Parameters
    ----------
    raw : Raw
    chosen : mapping of role to ColumnChoice
        What the field's owner wrote; it wins. An empty column name means "none".
    bushel_lb : float or None
        Legal weight of the crop's bushel [lb].

    Raises
    ------
    ReadError
        A column chosen is not there, or a unit is missing or cannot be; lists all.
    """
    found, faults = understood(raw, chosen, bushel_lb)
    if faults:
        raise ReadError("\n".join(faults))
    return found


def understood(raw: Raw, chosen: Mapping[str, ColumnChoice], bushel_lb: float | None) -> tuple[list[Detected], list[str]]:
    """The same, with what has to be asked for beside what was found, for those who only look."""
    found: list[Detected] = []
    faults: list[str] = []
    for role in ROLES:
        try:
            detected = _chosen(raw, role, chosen[role], bushel_lb) if role in chosen else _found(raw, role, chosen, bushel_lb)
        except ReadError as fault:
            faults.append(str(fault))
            continue
        if detected:
            found.append(detected)
    return found, faults


def _chosen(raw: Raw, role: str, choice: ColumnChoice, bushel_lb: float | None) -> Detected | None:
    if not choice.column:
        return None
    if choice.column not in raw.columns.columns:
        raise ReadError(
            f"{raw.where}: [points.columns] {role} names column {shown(choice.column)}, which the file has not; "
            f"{near(choice.column, [str(name) for name in raw.columns.columns])}"
        )
    if choice.unit is not None and role not in _WORDS_ONLY:
        return Detected(role, choice.column, choice.unit, "chosen", _factor(raw, role, choice.column, choice.unit, bushel_lb))
    return _with_unit(raw, role, choice.column, "chosen", bushel_lb)


def _found(raw: Raw, role: str, chosen: Mapping[str, ColumnChoice], bushel_lb: float | None) -> Detected | None:
    if raw.x is not None and role in ("longitude", "latitude", "easting", "northing"):
        return None
    taken = {choice.column for choice in chosen.values()}
    words = _ROLES[role].words
    ranked = []
    for column in raw.columns.columns:
        said = header_words(str(column))
        if column not in taken and said in words and _can_be(raw, role, str(column)):
            ranked.append((words.index(said), str(column)))
    if not ranked:
        return None
    return _with_unit(raw, role, min(ranked)[1], "by its name", bushel_lb)


def _with_unit(raw: Raw, role: str, column: str, how: str, bushel_lb: float | None) -> Detected | None:
    """The role with the unit its header states, or the only unit its values can be in."""
    if role in _WORDS_ONLY:
        return Detected(role, column, "", how, 1.0)
    stated = unit_in_header(column, ROLES[role], bushel_lb)
    if stated:
        return Detected(role, column, stated, f"{how}, unit in its header", _factor(raw, role, column, stated, bushel_lb))
    middle = _middle(column_numbers(raw, column))
    entry = _ROLES[role]
    fitting = [unit for unit in entry.plain if entry.least <= middle * factor(unit, ROLES[role]) <= entry.most]
    if len(fitting) == 1:
        return Detected(role, column, fitting[0], f"{how}, unit by its values", factor(fitting[0], ROLES[role]))
    if role == "elevation":
        return None  # only ever a check on the others: not worth asking for
    raise ReadError(
        f"{raw.where}: {role}: column {shown(column)} has no unit; under [points.columns] in field.toml write "
        f'{role} = {{ column = "{shown(column)}", unit = "{_LIKELY[role]}" }} with the right unit, or {role} = "" to leave it out'
    )


_LIKELY = {
    "mass_flow": "lb/s",
    "yield": "bu/ac",
    "moisture": "%",
    "speed": "mph",
    "distance": "ft",
    "interval": "s",
    "width": "ft",
    "heading": "deg",
    "elevation": "ft",
    "longitude": "deg",
    "latitude": "deg",
    "easting": "m",
    "northing": "m",
}


def _factor(raw: Raw, role: str, column: str, unit: str, bushel_lb: float | None) -> float:
    try:
        by = factor(unit, ROLES[role], bushel_lb)
    except NoReference as refusal:
        raise ReadError(f'{raw.where}: {role}: {refusal}; write for example unit = "{_LIKELY[role]}"') from refusal
    entry, middle = _ROLES[role], _middle(column_numbers(raw, column)) * by
    if np.isfinite(middle) and not entry.least <= middle <= entry.most:
        raise ReadError(
            f"{raw.where}: {role}: the middle value of {shown(column)} would be {middle:.4g} {ROLES[role]} if it is in {shown(unit)}, "
            f"which cannot be (expected {entry.least:g} to {entry.most:g}); give the right unit or column in [points.columns]"
        )
    return by


def header_words(column: str) -> str:
    """A header as plain lower-case words, without the unit in it."""
    bare = _UNIT_BRACKETS.sub(" ", column)
    words = [word for word in _SPLIT.split(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare).lower()) if word]
    while len(words) > 1 and _tail_unit(words):
        words = words[: -len(_tail_unit(words).split("/"))]
    return " ".join(words)


def unit_in_header(column: str, to: str, bushel_lb: float | None = None) -> str | None:
    """The unit a header states, in brackets or as its last words, if it measures what `to` measures."""
    for inside in _UNIT_BRACKETS.findall(column):
        if same_kind(inside, to, bushel_lb):
            return str(inside)
    words = [word for word in _SPLIT.split(column) if word]
    tail = _tail_unit(words)
    return tail if tail and same_kind(tail, to, bushel_lb) else None


_TAIL_UNITS = {
    unit
    for units in (
        ("lb/s", "kg/s", "t/h", "bu/ac", "lb/ac", "kg/ha", "t/ha", "q/ha", "mph", "kmh", "km/h", "m/s", "kn"),
        ("deg", "m", "ft", "in", "cm", "mm", "s", "ms", "pct", "percent", "ppm", "fraction", "ft2", "m2", "g", "acre"),
    )
    for unit in units
}


def _tail_unit(words: list[str]) -> str:
    for count in (2, 1):
        tail = "/".join(word.lower() for word in words[-count:])
        if len(words) > count and tail in _TAIL_UNITS:
            return tail
    return ""


def _can_be(raw: Raw, role: str, column: str) -> bool:
    """Whether the values can play the role at all: numbers where it measures, text or numbers elsewhere."""
    if role in _WORDS_ONLY:
        return bool(raw.columns[column].notna().any())
    try:
        values = column_numbers(raw, column)
    except ReadError:
        # one bad value in a column of numbers is a fault to name, a column of words is another thing
        text = raw.columns[column].astype("string").str.strip()
        return bool(text.str.fullmatch(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?").mean() > 0.5)
    return bool(np.isfinite(values).any())


def _middle(values: Floats) -> float:
    """Median of the values that say something: zeros are a machine standing or a header up."""
    known = values[np.isfinite(values) & (values != 0)]
    return float(np.median(known)) if known.size else float("nan")
