"""What may be asked of the `lossmap` command: its flows, the arguments of each, and their help."""

from __future__ import annotations

import argparse
import datetime
from pathlib import Path
from typing import TypeAlias

__all__ = ["parser"]

_Flows: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"

_EPILOG = """exit codes: 0 done, 1 a bug (with its traceback), 2 how it was called or set, 3 the data,
4 some fields of a season failed and the rest are written
results go to stdout, the log to stderr; a run that fails leaves the earlier result as it was"""


def parser() -> argparse.ArgumentParser:
    """Turns words of a command line into a namespace whose ``command`` is the flow's name, None where none was named."""
    whole = argparse.ArgumentParser(
        prog="lossmap",
        description="From seed counts and a combine's log to maps of harvest loss, with honest doubt.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    whole.add_argument("--version", action="store_true", help="print the version and end")
    flows = whole.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for add in (_add_map, _add_stops, _add_rank, _add_season, _add_check, _add_settings):
        add(flows)
    return whole


def _add_map(flows: _Flows) -> None:
    one = flows.add_parser("map", help="one field: its files to its map", description="One field: its files to its map.")
    _add_field(one)
    _add_manners(one)


def _add_stops(flows: _Flows) -> None:
    one = flows.add_parser(
        "stops",
        help="one field: where to count next",
        description="One field: where to count next. Before any count, stops far from one another in place, ground speed and "
        "moisture; after a first round, those that tell most. Writes stops-plan.geojson, stops-plan.gpx and "
        "count-sheet.html, a form for a phone and for paper.",
    )
    _add_field(one)
    one.add_argument("--number", metavar="N", type=int, help="how many stops; short for --set stops.number=N, and goes before it")
    _add_manners(one)


def _add_rank(flows: _Flows) -> None:
    one = flows.add_parser(
        "rank",
        help="a farm: which field to cut first",
        description="A farm: which field to cut first, by drying, loss, money and hours fit for harvest. Writes ranking.html, "
        "ranking.csv, ranking.geojson and summary.json. Run it again with new readings and fields cut: it says what changed.",
    )
    one.add_argument("farm", metavar="FARM", type=Path, help="a folder with farm.toml, or that file")
    one.add_argument("--on", metavar="DATE", type=_day, help="the day of the plan, as 2025-10-18 (default: today)")
    _add_choices(one, "results go to DIR/<farm folder's name> (default: out)")
    _add_manners(one)


def _add_season(flows: _Flows) -> None:
    one = flows.add_parser(
        "season",
        help="every field below a folder, and what all say together",
        description="Every field below a folder: each to its map, and what header, machine, operator, speed and dryness are worth over "
        "all of them. Writes season.html, season.csv, season.parquet, season.geojson and summary.json beside the fields' folders. Fields "
        "whose inputs, settings and version are unchanged are taken over; one that fails is a row with the reason, and stops no other.",
    )
    one.add_argument("folder", metavar="FOLDER", type=Path, help="holds the fields, folders with field.toml, at any depth")
    _add_choices(one, "results go to DIR/<FOLDER's name>/<field's path below FOLDER> (default: out)")
    where = one.add_mutually_exclusive_group()
    where.add_argument(
        "--cores",
        metavar="N",
        type=_cores,
        help="fields at a time, each in its own process (default: 1; a large field takes some 2 GB of memory); 0: in this process",
    )
    where.add_argument("--cluster", metavar="ADDRESS", help="on the workers of a Dask scheduler instead, as tcp://10.0.0.5:8786")
    one.add_argument("--again", action="store_true", help="map also the fields that are unchanged")
    _add_manners(one)


def _add_check(flows: _Flows) -> None:
    one = flows.add_parser(
        "check",
        help="read everything and say what was understood; write nothing",
        description="Read a field, one log or one list of counts, and say what was understood: column, unit, how that was decided. "
        "Writes nothing.",
    )
    one.add_argument("path", metavar="PATH", type=Path, help="a folder with field.toml, one log, or one list of counts")
    _add_manners(one)


def _add_settings(flows: _Flows) -> None:
    one = flows.add_parser(
        "settings",
        help="every setting, its value, unit, limits and why",
        description="Print every setting with its default, unit, limits and reason, as a TOML file that --config reads.",
    )
    one.add_argument(
        "flow",
        metavar="FLOW",
        nargs="?",
        choices=["map", "stops", "season", "rank"],
        help="only those that this command heeds: map, stops, season (all three without it) or rank",
    )


def _add_field(one: argparse.ArgumentParser) -> None:
    one.add_argument("field", metavar="FIELD", type=Path, help="a folder with field.toml, or that file")
    _add_choices(one, "results go to DIR/<field folder's name> (default: out)")


def _add_choices(one: argparse.ArgumentParser, where: str) -> None:
    one.add_argument("--config", metavar="FILE", type=Path, help="settings that differ from the defaults (TOML)")
    one.add_argument(
        "--set", metavar="KEY=VALUE", action="append", default=[], help='one setting, as in --set grid.cell="10 m"; may be repeated'
    )
    one.add_argument("--out", metavar="DIR", type=Path, default=Path("out"), help=where)


def _add_manners(one: argparse.ArgumentParser) -> None:
    one.add_argument("--json", action="store_true", help="print the result as one line of JSON")
    how = one.add_mutually_exclusive_group()
    how.add_argument("-v", "--verbose", action="store_true", help="say more on stderr")
    how.add_argument("-q", "--quiet", action="store_true", help="say only what went wrong")


def _cores(text: str) -> int:
    if text.isascii() and text.isdigit() and len(text) < 4:
        return int(text)
    raise argparse.ArgumentTypeError(f'"{text[:40]}" is no number of cores; write 4')


def _day(text: str) -> datetime.date:
    from lossmap.base.settings import FIRST_DAY, LAST_DAY

    try:
        day = datetime.date.fromisoformat(text)
        if not FIRST_DAY <= day < LAST_DAY:
            raise ValueError
        return day
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text[:40]}" is not a day; write 2025-10-18') from None
