"""What a column that plays a role of a log looks like: its names, its values and its units."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from lossmap.base.errors import shown
from lossmap.read.raw import Raw
from lossmap.read.words import cut_short, header_words, unit_hint

__all__ = ["LIKELY", "LOOKS", "PLACES", "WORDS_ONLY", "Candidate", "Looks", "candidates", "cannot_be", "possible"]


@dataclass(frozen=True)
class Looks:
    """What a column that plays a role is called, what its values may be, and in which units.

    Attributes
    ----------
    words : tuple of str
        Trade words met in open logs, best first.
    least, most : float
        Limits of the median [SI]; they refuse only the impossible.
    units : tuple of str
        Those that may be taken without being written down, if exactly one fits the values and the ground.
    """

    words: tuple[str, ...]
    least: float = -np.inf
    most: float = np.inf
    units: tuple[str, ...] = ()


#: Role to what its column looks like. Places have no limits here: what they may be hangs on their coordinate system (`places`).
LOOKS: dict[str, Looks] = {
    "longitude": Looks(("longitude", "long", "lon", "lng", "gps longitude"), units=("deg",)),
    "latitude": Looks(("latitude", "lat", "gps latitude"), units=("deg",)),
    "easting": Looks(("easting", "utm x", "x utm", "east"), units=("m",)),
    "northing": Looks(("northing", "utm y", "y utm", "north"), units=("m",)),
    "time": Looks(("iso time", "timestamp", "time", "date time", "datetime", "gps time", "utc time", "time utc")),
    # no name is trusted for this one: identifiers of all kinds look like running numbers
    "record": Looks(()),
    "mass_flow": Looks(
        ("mass flow", "grain flow", "crop flow mass", "crop flow", "grain mass flow", "flow", "mass"), 0.05, 60, ("lb/s", "kg/s", "t/h")
    ),
    "yield": Looks(
        ("yield", "dry yield", "yield dry", "grain yield", "yield volume dry", "yield volume", "wet mass"),
        300,
        40_000,
        ("bu/ac", "t/ha", "kg/ha", "lb/ac", "q/ha"),
    ),
    "moisture": Looks(("moisture", "grain moisture", "moist", "crop moisture"), 3, 70, ("percent", "fraction", "ppm")),
    "speed": Looks(("ground speed", "speed", "velocity", "vehicle speed"), 0.1, 6, ("mph", "km/h", "m/s", "kn")),
    "distance": Looks(("distance", "dist", "distance travelled", "distance traveled"), 0.05, 40, ("ft", "m", "in", "cm", "mm")),
    "interval": Looks(("interval", "seconds", "duration", "cycle", "logging interval", "time step"), 0.05, 60, ("s", "ms")),
    "width": Looks(
        ("swath width", "header width", "cut width", "working width", "swathwidth", "width", "swath"),
        0.5,
        30,
        ("ft", "m", "in", "cm", "mm"),
    ),
    "heading": Looks(("heading", "track deg", "track", "bearing", "course", "track angle"), 0, 360, ("deg",)),
    "work": Looks(("work state", "header status", "header state", "work", "status header")),
    "machine": Looks(("machine", "combine", "vehicle", "machine id")),
    "pass": Looks(("pass", "pass number", "pass num", "pass id")),
    "elevation": Looks(("elevation", "altitude", "height"), -500, 9000),
}

#: Roles that say where.
PLACES = ("longitude", "latitude", "easting", "northing")

#: Roles without a unit: their text is read, not measured.
WORDS_ONLY = ("time", "record", "work", "machine", "pass")

#: Unit to name in an example.
LIKELY = {"mass_flow": "lb/s", "yield": "bu/ac", "moisture": "%", "elevation": "ft"} | {
    role: entry.units[0] for role, entry in LOOKS.items() if entry.units and role not in ("mass_flow", "yield", "moisture")
}


class Candidate(NamedTuple):
    """A column by whose name it could play a role.

    Attributes
    ----------
    far : int
        0 where the name is one of the role's words, more where it is one cut short or holds one.
    rank : int
        Which word, the best being 0.
    column, how, hint : str
        Its name, how that speaks of the role, and what of a name cut short may be a unit.
    """

    far: int
    rank: int
    column: str
    how: str
    hint: str


def candidates(columns: Iterable[str], role: str) -> list[Candidate]:
    """Columns whose names speak of the role, nearest first."""
    found = []
    for column in columns:
        said = header_words(column)
        for rank, words in enumerate(LOOKS[role].words):
            if said == words or said.replace(" ", "") == words.replace(" ", ""):
                found.append(Candidate(0, rank, column, "by its name", ""))
            elif (left := cut_short(column, words)) is not None:
                found.append(Candidate(1 + left, rank, column, f"by its name (cut short: {words})", unit_hint(column, words)))
            elif len(words) >= 5 and " " not in words and words in said.replace(" ", ""):
                found.append(Candidate(9, rank, column, f"by a word in its name ({words})", ""))
    return sorted(found)


def possible(role: str, value: float) -> bool:
    """Whether a median in SI can be; a column of nothing but gaps and zeros says nothing against it."""
    looks = LOOKS[role]
    return not np.isfinite(value) or looks.least <= value <= looks.most


def cannot_be(raw: Raw, role: str, column: str) -> str:
    """Why the values cannot play the role at all, "" where they can: numbers where it measures, text or numbers elsewhere."""
    known = raw.columns[column].dropna()
    text = known.astype("string").str.strip() if known.dtype.kind not in "iufbM" else known
    if known.dtype.kind not in "iufbM":
        text = text[~text.str.lower().isin(["", "nan"])]
    if text.empty:
        return f"column {shown(column)} is empty; name another under [points.columns], or export it again"
    if role in WORDS_ONLY or known.dtype.kind in "iufb":
        return ""
    text = text.astype("string")
    # one bad value in a column of numbers is a fault to name, a column of words is another thing
    if text.str.fullmatch(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?").mean() > 0.5:
        return ""
    return f'column {shown(column)} holds text ("{shown(text.iloc[0], 24)}"), not numbers; name another under [points.columns]'
