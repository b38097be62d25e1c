"""What people open: maps, report, tables and surfaces of one field, an order of harvest, a season. The only stage that speaks bu/ac.

In the hall, what all share:

words            numbers with their unit and doubt, as people read them
money            what lost grain is worth
sentences        what the evidence says
numbers          the field in numbers
rows             stops and zones as rows of tables
unknown          where the map of loss says little
classes          five classes a layer, and their colours
projection       the field on a web map
still            the map as a drawing
drawings         loss by source and along a driver, as drawings
inline_svg       drawings as elements of a page
footnotes        numbers of sources
templates        pages, scripts and their policy (`assets/`)
files            the same bytes everywhere, and refusals of the disk
json_values      estimates as JSON holds them

and what a field leaves:

page             report.html, with
advice             what to do about the loss
cleaned            what was set aside, and why
cleaned_drawings   the same, drawn
flag_groups        reasons that share a mark
geojson          stops.geojson, zones.geojson
geotiff          surfaces.tif
parquet          points.parquet, cells.parquet
summary          summary.json
evidence_file    evidence.json
run_file         run.toml

Rooms of their own: map/ (map.html), stops/ (plan and count sheet), season/ and ranking/.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from lossmap.base.field import FieldMap
from lossmap.report.evidence_file import evidence
from lossmap.report.files import json_text, write_text, written
from lossmap.report.geojson import as_text, geojson_of_stops, geojson_of_zones
from lossmap.report.geotiff import write_surfaces
from lossmap.report.map.webmap import webmap
from lossmap.report.money import price_usd_kg
from lossmap.report.page import page
from lossmap.report.parquet import write_cells, write_points
from lossmap.report.ranking.changes import changes as ranking_changes
from lossmap.report.ranking.files import RANKING_FILES, said_of_ranking, values_of_ranking, write_ranking
from lossmap.report.run_file import run
from lossmap.report.season.files import SEASON_FILES, said_of_season, values_of_season, write_season
from lossmap.report.sentences import headline
from lossmap.report.stops.files import write_plan
from lossmap.report.stops.plan import StopsPlan, needed_in_words, said_of_plan, values_of_plan
from lossmap.report.summary import summary

__all__ = [
    "FILES",
    "RANKING_FILES",
    "SEASON_FILES",
    "StopsPlan",
    "headline",
    "needed_in_words",
    "price_usd_kg",
    "ranking_changes",
    "said_of_plan",
    "said_of_ranking",
    "said_of_season",
    "summary",
    "values_of_plan",
    "values_of_ranking",
    "values_of_season",
    "write",
    "write_plan",
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
        "stops.geojson": lambda path: write_text(path, as_text(geojson_of_stops(field_map))),
        "surfaces.tif": lambda path: write_surfaces(field_map, path),
        "cells.parquet": lambda path: write_cells(field_map, path),
        "zones.geojson": lambda path: write_text(path, as_text(geojson_of_zones(field_map))),
        "map.html": lambda path: write_text(path, webmap(field_map)),
        "report.html": lambda path: write_text(path, page(field_map)),
        "summary.json": lambda path: write_text(path, json_text(summary(field_map))),
        "evidence.json": lambda path: write_text(path, json_text(evidence(field_map))),
        "run.toml": lambda path: write_text(path, run(field_map, seconds, {name: (folder / name).read_bytes() for name in READ_BACK})),
    }
    for name in FILES:
        written(folder / name, writers[name], "check that the folder exists, is writable and has room")
    return [folder / name for name in FILES]
