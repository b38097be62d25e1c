"""Which column of a list of counts plays which role: by the owner's choice, else by the words counters use."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from lossmap.base.errors import ReadError, near, shown
from lossmap.base.field import CountsFile
from lossmap.base.tables import POSITIONS
from lossmap.read.raw import Raw
from lossmap.read.words import header_words

__all__ = ["POSITION_OF", "count_columns", "counted_columns"]

# What counters write for a column; the first word of each line is the contract's own.
_WORDS: dict[str, tuple[str, ...]] = {
    "stop": ("stop", "stop id", "site", "point", "location"),
    "longitude": ("longitude", "lon", "long", "lng"),
    "latitude": ("latitude", "lat"),
    "easting": ("easting", "utm x", "x"),
    "northing": ("northing", "utm y", "y"),
    "time": ("time", "date time", "datetime", "timestamp", "counted at"),
    "position": ("position", "place", "where"),
    "seeds": ("seeds", "seed", "kernels", "kernel", "beans", "bean", "grains", "count", "seeds counted"),
    "grams": ("grams", "gram", "seed mass", "mass", "weight"),
    "ears": ("ears", "ear"),
    "grams_per_ear": ("grams per ear", "g per ear", "ear mass", "ear weight"),
    "frame": ("frame", "frame area", "area", "frame size"),
    "frames": ("frames", "number of frames", "frames laid", "n frames"),
    "note": ("note", "notes", "remark", "comment"),
}

_POSITIONS: dict[str, tuple[str, ...]] = {
    "before_header": (
        "before header",
        "before",
        "pre harvest",
        "preharvest",
        "pre",
        "standing",
        "standing crop",
        "in front",
        "ahead",
        "front",
    ),
    "behind_header": ("behind header", "header", "head", "behind head", "gathering", "under machine", "under combine", "under"),
    "behind_combine": ("behind combine", "combine", "rear", "behind machine", "machine", "behind", "back", "tail", "discharge"),
}
#: Word to position.
POSITION_OF = {word: position for position, words in _POSITIONS.items() for word in words}


def count_columns(raw: Raw, part: CountsFile) -> dict[str, str]:
    """Role to column: the owner's choice, else by words, tried in order; the first that stands in the file wins.

    Seeds may stand in a column for each position: then these positions are the roles.

    Raises
    ------
    ReadError
        A column chosen is not there, or what a list must say is missing; lists all.
    """
    names = [str(column) for column in raw.columns.columns]
    found = _roles(names, part.columns)
    faults = [
        f"[counts.columns] {role} names column {shown(column)}, which the file has not; {near(column, names)}"
        for role, column in found.items()
        if column not in names
    ]
    faults = [f"{raw.where}: {fault}" for fault in (faults or _lacking(found, part))]
    if faults:
        raise ReadError("\n".join(faults))
    return found


def counted_columns(raw: Raw) -> dict[str, str]:
    """Role to column of a table that nobody has called a list of counts, by its words alone; nothing where it is none."""
    found = _roles([str(column) for column in raw.columns.columns], {})
    wide = found.keys() & set(POSITIONS)
    return found if "stop" in found and ({"seeds", "ears", "position"} & found.keys() or len(wide) > 1) else {}


def _roles(names: Sequence[str], chosen: Mapping[str, str]) -> dict[str, str]:
    """Role to column, those that play one; positions side by side where none of the words for one below the other stands."""
    said = {header_words(column): column for column in reversed(names) if column not in chosen.values()}
    found = {role: next((said[word] for word in words if word in said), "") for role, words in _WORDS.items()}
    found = {role: column for role, column in (found | dict(chosen)).items() if column}
    if not {"position", "seeds", "grams", "ears"} & found.keys():
        found |= _side_by_side(said)
    return found


def _side_by_side(said: Mapping[str, str]) -> dict[str, str]:
    """Position to the column of the seeds counted there, "Kernels behind header" or just "header"."""
    bare = {" ".join(word for word in words.split() if word not in _WORDS["seeds"]): column for words, column in said.items()}
    found = {position: next((bare[word] for word in words if word in bare), "") for position, words in _POSITIONS.items()}
    return {position: column for position, column in found.items() if column}


def _lacking(found: Mapping[str, str], part: CountsFile) -> list[str]:
    """What a list of counts must say and this one does not; all of it."""
    faults = []
    wide = found.keys() & set(POSITIONS)
    if "position" not in found and not wide:
        faults.append(
            f"no column says the position ({', '.join(POSITIONS)}); add one named position, or name one for the seeds of each position, "
            'under [counts.columns], for example behind_combine = "..."'
        )
    if wide and (clash := sorted({"position", "seeds", "grams", "ears"} & found.keys())):
        faults.append(f"has {clash[0]} beside columns of single positions ({', '.join(sorted(wide))}); keep one of the two layouts")
    if not {"seeds", "grams", "ears"} & found.keys() and not wide:
        faults.append('no column holds seeds, grams or ears; add one named seeds, or write seeds = "..." under [counts.columns]')
    if "frame" not in found and part.frame is None:
        faults.append(
            'no column says the frame\'s area; add one named frame_ft2 or frame_m2, or set frame = "1 ft2" beside path in field.toml'
        )
    return faults
