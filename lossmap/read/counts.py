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
from lossmap.read.count_columns import POSITION_OF, count_columns
from lossmap.read.formats import read_raw
from lossmap.read.places import degrees_of, places_of
from lossmap.read.raw import Detected, Raw, checked, column_numbers
from lossmap.read.times import read_times
from lossmap.read.words import unit_in_header

__all__ = ["read_counts"]


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
    raw = read_raw(field.file(part.path), f"{field.id}/{part.path}", part.layer, part.missing)
    columns = count_columns(raw, part)
    at_positions = {position: columns.pop(position) for position in POSITIONS if position in columns}
    if not at_positions:
        return _table(raw, columns, part, _positions(raw, columns["position"]))
    # a row a stop, its positions side by side: a list for each of them, without the boxes left empty
    rows = len(raw.columns)
    tables = [
        _table(raw, {**columns, "seeds": at}, part, pd.Series([position] * rows, dtype="str")) for position, at in at_positions.items()
    ]
    counted = pd.concat([table[table["seeds"].notna()] for table in tables], ignore_index=True)
    if counted.empty:
        raise ReadError(
            f"{raw.where}: holds no count in {shown(', '.join(at_positions.values()))}; fill in what was counted, 0 where nothing lay"
        )
    return counted


def _table(raw: Raw, columns: dict[str, str], part: CountsFile, positions: pd.Series) -> gpd.GeoDataFrame:
    lon, lat = _places(raw, columns, part.crs)
    rows = len(raw.columns)
    frames = _number(raw, columns.get("frames"), rows, float(part.frames))
    table = {
        "stop_id": _stop_ids(raw, columns.get("stop")),
        "position": positions,
        "seeds": _number(raw, columns.get("seeds"), rows),
        "grams": _number(raw, columns.get("grams"), rows),
        "ears": _number(raw, columns.get("ears"), rows),
        "grams_per_ear": _number(raw, columns.get("grams_per_ear"), rows),
        "frame_m2": (_frame_m2(raw, columns["frame"]) if "frame" in columns else np.full(rows, part.frame)) * frames,
        "frames": frames,
        "note": _text(raw, columns.get("note"), rows),
    }
    if "time" in columns:
        when = read_times(raw, columns["time"]).when
        if when is not None:
            table["time"] = when
    _sensible(raw, table, may_be_blank="position" not in columns)
    return checked(gpd.GeoDataFrame(table, geometry=shapely.points(lon, lat), crs="EPSG:4326"), COUNTS, raw)


def _places(raw: Raw, columns: dict[str, str], crs: str | None) -> tuple[Floats, Floats]:
    roles = {
        role: Detected(role, columns[role], unit, "by its name", 1.0)
        for role, unit in (("longitude", "deg"), ("latitude", "deg"), ("easting", "m"), ("northing", "m"))
        if role in columns and not (role in ("easting", "northing") and {"longitude", "latitude"} <= columns.keys())
    }
    if raw.x is None and not any({*pair} <= roles.keys() for pair in (("longitude", "latitude"), ("easting", "northing"))):
        names = shown(", ".join(str(name) for name in raw.columns.columns), 160)
        raise ReadError(f"{raw.where}: no columns say where the stops lie (columns {names}); add longitude and latitude in degrees")
    longitude, latitude = degrees_of(*places_of(raw, roles, crs))
    lost = np.flatnonzero(~(np.isfinite(longitude) & np.isfinite(latitude)))
    if lost.size:
        raise ReadError(f"{raw.where}, row {raw.first_row + lost[0]}: has no place (longitude and latitude); every count needs one")
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
    position = words.map(POSITION_OF)
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


def _sensible(raw: Raw, table: dict[str, object], may_be_blank: bool) -> None:
    """Refuse what no counter can have seen; all faults of the file in one message."""
    seeds, grams, ears = (np.asarray(table[name], float) for name in ("seeds", "grams", "ears"))
    frame, frames = np.asarray(table["frame_m2"], float), np.asarray(table["frames"], float)
    checks = [
        ("a count below zero", (seeds < 0) | (grams < 0) | (ears < 0)),
        ("neither seeds, grams nor ears", np.isnan(seeds) & np.isnan(grams) & np.isnan(ears) & (not may_be_blank)),
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
