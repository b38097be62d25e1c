"""Lists of counts to one COUNTS table."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from lossmap.base.errors import ReadError, SettingsError, shown
from lossmap.base.field import CountsFile, Field
from lossmap.base.grid import Floats
from lossmap.base.tables import COUNTS, POSITIONS
from lossmap.base.units import factor, quantity
from lossmap.read.places import degrees_of, places_of
from lossmap.read.points import read_raw
from lossmap.read.raw import Detected, Raw, checked, column_numbers
from lossmap.read.times import read_times
from lossmap.read.words import header_words, unit_in_header

__all__ = ["read_counts"]

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
_POSITION_OF = {word: position for position, words in _POSITIONS.items() for word in words}


def read_counts(field: Field) -> gpd.GeoDataFrame:
    """Every list of counts of the field as one COUNTS table, in WGS84.

    Raises
    ------
    ReadError
        A list cannot be read or a row holds what cannot be; names the row.
    """
    parts = [_list(field, part) for part in field.facts.counts]
    if not parts:
        raise ReadError(f'{field.id}/field.toml: names no counts, so there is no loss to map; add a [[counts]] with path = "counts.csv"')
    return COUNTS.check(gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs="EPSG:4326"))


def _list(field: Field, part: CountsFile) -> gpd.GeoDataFrame:
    where = f"{field.id}/{part.path}"
    raw = read_raw(field.file(part.path), where, part.layer, part.missing)
    columns = _columns(raw)
    lon, lat = _places(raw, columns, part.crs)
    rows = len(raw.columns)
    frames = _number(raw, columns.get("frames"), rows, 1.0)
    table = {
        "stop_id": _stop_ids(raw, columns.get("stop")),
        "position": _positions(raw, columns["position"]),
        "seeds": _number(raw, columns.get("seeds"), rows),
        "grams": _number(raw, columns.get("grams"), rows),
        "ears": _number(raw, columns.get("ears"), rows),
        "grams_per_ear": _number(raw, columns.get("grams_per_ear"), rows),
        "frame_m2": _frame_m2(raw, columns["frame"]) * frames,
        "frames": frames,
        "note": _text(raw, columns.get("note"), rows),
    }
    if "time" in columns:
        when = read_times(raw, columns["time"]).when
        if when is not None:
            table["time"] = when
    _sensible(raw, table)
    return checked(gpd.GeoDataFrame(table, geometry=shapely.points(lon, lat), crs="EPSG:4326"), COUNTS, raw)


def _columns(raw: Raw) -> dict[str, str]:
    """Role to column; the words of a role are tried in order, the first that stands in the file wins."""
    said = {header_words(str(column)): str(column) for column in reversed(raw.columns.columns)}
    found = {}
    for role, words in _WORDS.items():
        for word in words:
            if word in said:
                found[role] = said[word]
                break
    faults = []
    if "position" not in found:
        faults.append(f"no column says the position ({', '.join(POSITIONS)}); add one named position")
    if not {"seeds", "grams", "ears"} & found.keys():
        faults.append("no column holds seeds, grams or ears; add one named seeds")
    if "frame" not in found:
        faults.append("no column says the frame's area; add one named frame_ft2 or frame_m2")
    if faults:
        raise ReadError("\n".join(f"{raw.where}: {fault}" for fault in faults))
    return found


def _places(raw: Raw, columns: dict[str, str], crs: str | None) -> tuple[Floats, Floats]:
    roles = {
        role: Detected(role, columns[role], unit, "by its name", 1.0)
        for role, unit in (("longitude", "deg"), ("latitude", "deg"), ("easting", "m"), ("northing", "m"))
        if role in columns and not (role in ("easting", "northing") and {"longitude", "latitude"} <= columns.keys())
    }
    longitude, latitude = degrees_of(*places_of(raw, roles, crs))
    lost = np.flatnonzero(~(np.isfinite(longitude) & np.isfinite(latitude)))
    if lost.size:
        raise ReadError(f"{raw.where}, row {raw.first_row + lost[0]}: has no position; every count needs one")
    return longitude, latitude


def _stop_ids(raw: Raw, column: str | None) -> pd.Series:
    if column is None:
        raise ReadError(f"{raw.where}: no column names the stop; add one named stop, the same for all frames laid at one place")
    values = raw.columns[column]
    if values.isna().any():
        raise ReadError(f"{raw.where}, row {raw.first_row + int(np.flatnonzero(values.isna())[0])}: {column} is blank; name the stop")
    if values.dtype.kind == "f" and (values == values.round()).all() and values.abs().max() < 1e15:
        values = values.astype("int64")
    return values.astype("string").str.strip().astype("str").reset_index(drop=True)


def _positions(raw: Raw, column: str) -> pd.Series:
    said = raw.columns[column].astype("string").fillna("").str.strip()
    words = (
        said.str.lower()
        .str.replace(r"[^a-z]+", " ", regex=True)
        .str.replace(r"\b(the|crop|of)\b", "", regex=True)
        .str.split()
        .str.join(" ")
    )
    position = words.map(_POSITION_OF)
    wrong = np.flatnonzero(position.isna().to_numpy())
    if wrong.size:
        raise ReadError(
            f'{raw.where}, row {raw.first_row + wrong[0]}: position "{shown(said.iloc[wrong[0]])}" is not known; '
            f"write {', '.join(POSITIONS[:-1])} or {POSITIONS[-1]}"
        )
    return position.astype("str").reset_index(drop=True)


def _number(raw: Raw, column: str | None, rows: int, default: float = np.nan) -> Floats:
    if column is None:
        return np.full(rows, default)
    values = column_numbers(raw, column)
    return values if np.isnan(default) else np.where(np.isnan(values), default, values)


def _text(raw: Raw, column: str | None, rows: int) -> pd.Series:
    if column is None:
        return pd.Series([""] * rows, dtype="str")
    return raw.columns[column].astype("string").fillna("").astype("str").reset_index(drop=True)


_BARE = re.compile(r"\s*[-+]?[\d.,]*\s*")
_WITH_UNIT = re.compile(r"\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*[A-Za-z].*")


def _frame_m2(raw: Raw, column: str) -> Floats:
    """Area of one frame [m2]: a number with the header's unit, or a text with its own ("1 ft2")."""
    unit = unit_in_header(column, "m2")
    if unit is not None:
        return column_numbers(raw, column) * factor(unit, "m2")
    texts = raw.columns[column].astype("string").fillna("")
    areas = np.full(len(texts), np.nan)
    for row, text in enumerate(texts):
        if _BARE.fullmatch(text):
            raise ReadError(
                f'{raw.where}, row {raw.first_row + row}: {column} "{shown(text)}" has no unit; '
                "name the column frame_ft2 or frame_m2, or write the unit behind each number"
            )
        if not _WITH_UNIT.fullmatch(text):
            raise ReadError(
                f'{raw.where}, row {raw.first_row + row}: {column} "{shown(text)}" is not a number with a unit; write for example "1.5 ft2"'
            )
        try:
            areas[row] = quantity(text, "m2")
        except SettingsError as refusal:
            raise ReadError(f'{raw.where}, row {raw.first_row + row}: {column} "{shown(text)}": {refusal}') from refusal
    return areas


def _sensible(raw: Raw, table: dict[str, object]) -> None:
    """Refuse what no counter can have seen; all faults of the file in one message."""
    seeds, grams, ears = (np.asarray(table[name], float) for name in ("seeds", "grams", "ears"))
    frame, frames = np.asarray(table["frame_m2"], float), np.asarray(table["frames"], float)
    checks = [
        ("a count below zero", (seeds < 0) | (grams < 0) | (ears < 0)),
        ("neither seeds, grams nor ears", np.isnan(seeds) & np.isnan(grams) & np.isnan(ears)),
        ("both seeds and grams (one is the other again)", np.isfinite(seeds) & np.isfinite(grams)),
        ("no frame area above zero", ~(frame > 0)),
        ("fewer than one frame", ~(frames >= 1)),
    ]
    faults = [
        f"{raw.where}, row {raw.first_row + int(np.flatnonzero(wrong)[0])}: has {words}; correct the row"
        for words, wrong in checks
        if wrong.any()
    ]
    if faults:
        raise ReadError("\n".join(faults))
