"""What people open: maps, report, tables and surfaces of one field, an order of harvest, a season. The only stage that speaks bu/ac."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from lossmap.base.field import FieldMap
from lossmap.report.evidence_file import evidence
from lossmap.report.files import json_text, write_text, written
from lossmap.report.geojson import as_text, stops, zones
from lossmap.report.geotiff import write_surfaces
from lossmap.report.page import page
from lossmap.report.parquet import write_cells, write_points
from lossmap.report.ranking_files import RANKING_FILES, said_of_ranking, values_of_ranking, write_ranking
from lossmap.report.ranking_words import changes as ranking_changes
from lossmap.report.run_file import run
from lossmap.report.season_files import SEASON_FILES, said_of_season, values_of_season, write_season
from lossmap.report.sentences import headline
from lossmap.report.summary import summary
from lossmap.report.webmap import webmap

__all__ = [
    "FILES",
    "RANKING_FILES",
    "SEASON_FILES",
    "headline",
    "ranking_changes",
    "said_of_ranking",
    "said_of_season",
    "summary",
    "values_of_ranking",
    "values_of_season",
    "write",
    "write_ranking",
    "write_season",
]

#: What `write` leaves behind, in its order.
FILES = (
    "points.parquet",
    "stops.geojson",
    "surfaces.tif",
    "cells.parquet",
    "zones.geojson",
    "map.html",
    "report.html",
    "summary.json",
    "evidence.json",
    "run.toml",
)

#: Of these, what a season reads back: run.toml tells whether they are still what was written.
READ_BACK = ("summary.json", "evidence.json")


def write(field_map: FieldMap, folder: Path, seconds: Mapping[str, float]) -> list[Path]:
    """Write every result of one field.

    Parameters
    ----------
    field_map : FieldMap
    folder : Path
        Exists and is empty; whoever calls renames it when it is whole.
    seconds : mapping
        Seconds each stage took so far, for run.toml.

    Returns
    -------
    list of Path
        The files written, in the order of `FILES`.

    Raises
    ------
    WriteError
        A file cannot be written there; what was written stays for the caller to remove.
    SettingsError
        ``report.price`` is no price of this crop.
    """
    writers: dict[str, Callable[[Path], object]] = {
        "points.parquet": lambda path: write_points(field_map, path),
        "stops.geojson": lambda path: write_text(path, as_text(stops(field_map))),
        "surfaces.tif": lambda path: write_surfaces(field_map, path),
        "cells.parquet": lambda path: write_cells(field_map, path),
        "zones.geojson": lambda path: write_text(path, as_text(zones(field_map))),
        "map.html": lambda path: write_text(path, webmap(field_map)),
        "report.html": lambda path: write_text(path, page(field_map)),
        "summary.json": lambda path: write_text(path, json_text(summary(field_map))),
        "evidence.json": lambda path: write_text(path, json_text(evidence(field_map))),
        "run.toml": lambda path: write_text(path, run(field_map, seconds, {name: (folder / name).read_bytes() for name in READ_BACK})),
    }
    for name in FILES:
        written(folder / name, writers[name], "check that the folder exists, is writable and has room")
    return [folder / name for name in FILES]
