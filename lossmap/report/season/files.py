"""What a season leaves beside its fields' folders: season.html, .geojson, .parquet, .csv and summary.json."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from lossmap.base.season import Season
from lossmap.base.tables import SEASON
from lossmap.report.files import csv_text, json_text, write_text, written
from lossmap.report.geojson import as_text, placed
from lossmap.report.parquet import write_fields
from lossmap.report.season.page import season_page
from lossmap.report.season.values import properties, values_of_season
from lossmap.report.season.words import said_of_season

__all__ = ["SEASON_FILES", "csv_of_season", "geojson_of_season", "said_of_season", "values_of_season", "write_season"]

SEASON_FILES = ("season.html", "season.geojson", "season.parquet", "season.csv", "summary.json")


def write_season(season: Season, folder: Path) -> None:
    """Write the files of `SEASON_FILES` into a folder that exists.

    Links on the page lead to ``FIELD_ID/map.html`` and ``FIELD_ID/report.html`` beside it.

    Raises
    ------
    WriteError
    SettingsError
        ``report.price`` is no price of one of the crops.
    """
    writers: dict[str, Callable[[Path], object]] = {
        "season.html": lambda path: write_text(path, season_page(season)),
        "season.geojson": lambda path: write_text(path, as_text(geojson_of_season(season))),
        "season.parquet": lambda path: write_fields(season.fields, path),
        "season.csv": lambda path: write_text(path, csv_of_season(season)),
        "summary.json": lambda path: write_text(path, json_text(values_of_season(season))),
    }
    for name in SEASON_FILES:
        written(folder / name, writers[name], "make room, or give another --out")


def csv_of_season(season: Season) -> str:
    """One row a field, failed ones with their error; text that a spreadsheet would run begins with an apostrophe."""
    rows = properties(season)
    # a row with bushels has every column, each beside its twin
    return csv_text(rows, list(max(rows, key=len, default={column.name: None for column in SEASON.columns})))


def geojson_of_season(season: Season) -> dict[str, Any]:
    """Each field's outline with its row; a failed field has no place."""
    return placed(properties(season), season.fields.geometry)
