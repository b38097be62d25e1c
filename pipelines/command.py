"""The `lossmap` command: what was asked for, which flow answers, and with which exit code.

Heavy libraries are imported inside the flows, so that ``lossmap --help`` answers at once.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import errno
import io
import json
import logging
import os
import signal
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from . import plain_process

__all__ = ["main"]

#: A screen of them.
MOST_FAULTS = 20

_EPILOG = """exit codes: 0 done, 1 a bug (with its traceback), 2 how it was called or set, 3 the data,
4 some fields of a season failed and the rest are written
results go to stdout, the log to stderr; a run that fails leaves the earlier result as it was"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    _open_streams()
    asked = _parser().parse_args(argv)
    # one thread: a field's matrices are small, and sums keep their order on every machine
    plain_process()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a sign gets its number, not a crash
            stream.reconfigure(errors="backslashreplace")
    # without a home that can be written to it makes do, and nobody need hear of it
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    from lossmap.base.errors import LossmapError

    try:
        with contextlib.suppress(ValueError):  # who calls from another thread than the first has signals of their own
            signal.signal(signal.SIGTERM, _stop)
        code: int = asked.run(asked)
        sys.stdout.flush()
    except LossmapError as refusal:
        _refused(str(refusal).splitlines())
        return refusal.exit_code
    except KeyboardInterrupt:
        print("lossmap: stopped; earlier results are as they were", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # whoever read our output has gone; nothing is left to say, not even at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as fault:
        if isinstance(fault, FileNotFoundError) and not _is_somewhere():
            print("lossmap: the folder it was started in is gone; change to another and run it again", file=sys.stderr)
            return 2
        if fault.errno not in (errno.ENOSPC, errno.EIO, errno.EDQUOT, errno.EFBIG, errno.EROFS):
            raise
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        print(f"lossmap: cannot write ({fault.strerror}); make room and run it again", file=sys.stderr)
        return 2
    except MemoryError:
        print("lossmap: needs more memory than there is; split the files by field, or set a larger grid.cell", file=sys.stderr)
        return 3
    return code


def _is_somewhere() -> bool:
    """Whether the folder we were started in is still there."""
    try:
        return bool(Path.cwd())
    except FileNotFoundError:
        return False


def _open_streams() -> None:
    """A stream that the caller has closed leads nowhere; the next file opened would take its number, and messages would stand in it."""
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(number)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 as long as the process lives


def _refused(faults: Sequence[str]) -> None:
    """Say what is wrong; of faults by the hundred, the first."""
    for fault in faults[:MOST_FAULTS]:
        print(f"lossmap: {fault}", file=sys.stderr)
    if len(faults) > MOST_FAULTS:
        print(
            f"lossmap: {len(faults) - MOST_FAULTS:,} more like these: mend the first, they may be one; then run it again", file=sys.stderr
        )


def _stop(number: int, frame: object) -> None:
    """A polite kill ends like Ctrl-C: whole files or none, and nothing left lying about."""
    raise KeyboardInterrupt


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="lossmap",
        description="From seed counts and a combine's log to maps of harvest loss, with honest doubt.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    parser.set_defaults(run=_version_or_help(parser))
    flows = parser.add_subparsers(title="commands", metavar="COMMAND")
    _add_map(flows)
    _add_stops(flows)
    _add_rank(flows)
    _add_season(flows)
    _add_check(flows)
    _add_settings(flows)
    return parser


def _add_map(flows: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    one = flows.add_parser("map", help="one field: its files to its map", description="One field: its files to its map.")
    _add_field(one)
    _add_manners(one)
    one.set_defaults(run=_map)


def _add_stops(flows: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    one.set_defaults(run=_stops)


def _add_rank(flows: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    one.set_defaults(run=_rank)


def _add_season(flows: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    one.set_defaults(run=_season)


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


def _add_field(one: argparse.ArgumentParser) -> None:
    one.add_argument("field", metavar="FIELD", type=Path, help="a folder with field.toml, or that file")
    _add_choices(one, "results go to DIR/<field folder's name> (default: out)")


def _add_choices(one: argparse.ArgumentParser, where: str) -> None:
    one.add_argument("--config", metavar="FILE", type=Path, help="settings that differ from the defaults (TOML)")
    one.add_argument(
        "--set", metavar="KEY=VALUE", action="append", default=[], help='one setting, as in --set grid.cell="10 m"; may be repeated'
    )
    one.add_argument("--out", metavar="DIR", type=Path, default=Path("out"), help=where)


def _add_check(flows: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    one = flows.add_parser(
        "check",
        help="read everything and say what was understood; write nothing",
        description="Read a field, or one file of points, and say what was understood: column, unit, how that was decided. Writes nothing.",
    )
    one.add_argument("path", metavar="PATH", type=Path, help="a folder with field.toml, or one file of points")
    _add_manners(one)
    one.set_defaults(run=_check)


def _add_settings(flows: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    one.set_defaults(run=_settings)


def _add_manners(one: argparse.ArgumentParser) -> None:
    one.add_argument("--json", action="store_true", help="print the result as one line of JSON")
    how = one.add_mutually_exclusive_group()
    how.add_argument("-v", "--verbose", action="store_true", help="say more on stderr")
    how.add_argument("-q", "--quiet", action="store_true", help="say only what went wrong")


def _version_or_help(parser: argparse.ArgumentParser):  # type: ignore[no-untyped-def]
    def run(asked: argparse.Namespace) -> int:
        if asked.version:
            from lossmap import __version__

            print(f"lossmap {__version__}")
            return 0
        parser.print_help(sys.stderr)
        return 2

    return run


def _map(asked: argparse.Namespace) -> int:
    from .map_field import map_field
    from .progress import listen

    bar = listen(asked.quiet, asked.verbose)
    from lossmap.read import read_settings

    settings = read_settings(asked.config, asked.set)
    result = map_field(asked.field, settings, asked.out, bar)
    return _done(asked, result.folder / "map.html", result.sentence, result.summary, result.notes)


def _stops(asked: argparse.Namespace) -> int:
    from .plan_stops import plan_stops
    from .progress import listen

    bar = listen(asked.quiet, asked.verbose)
    from lossmap.read import read_settings

    number = [] if asked.number is None else [f"stops.number={asked.number}"]
    plan = plan_stops(asked.field, read_settings(asked.config, [*asked.set, *number]), asked.out, bar)
    return _done(asked, plan.file, plan.sentence, plan.values, plan.notes)


def _rank(asked: argparse.Namespace) -> int:
    from .progress import listen
    from .rank_fields import rank_fields

    bar = listen(asked.quiet, asked.verbose)
    from lossmap.base.rank_settings import RankSettings
    from lossmap.read import read_chosen

    ranked = rank_fields(asked.farm, read_chosen(RankSettings, asked.config, asked.set), asked.out, asked.on, bar)
    return _done(asked, ranked.file, ranked.sentence, ranked.values, ranked.notes)


def _season(asked: argparse.Namespace) -> int:
    from .progress import listen
    from .season import map_season

    bar = listen(asked.quiet, asked.verbose)
    from lossmap.read import read_settings

    settings = read_settings(asked.config, asked.set)
    season = map_season(asked.folder, settings, asked.out, 1 if asked.cores is None else asked.cores, asked.cluster, asked.again, bar)
    return _done(asked, season.file, season.sentence, season.values, season.notes) or (4 if season.failed else 0)


def _done(asked: argparse.Namespace, file: Path, sentence: str, values: Mapping[str, Any], notes: Sequence[str]) -> int:
    """Print what was made and what it says, or all of it as JSON; what has to be noted goes to the log."""
    print(json.dumps(values, ensure_ascii=False, sort_keys=True) if asked.json else f"{file}: {sentence}")
    for note in notes:
        logging.getLogger("lossmap").warning("%s: %s", file.parent.name, note)
    return 0


def _check(asked: argparse.Namespace) -> int:
    from .check_path import check_path

    found = check_path(asked.path)
    print(json.dumps(found.as_json(), ensure_ascii=False, sort_keys=True) if asked.json else found.as_text())
    _refused(found.faults)
    return 3 if found.faults else 0


def _settings(asked: argparse.Namespace) -> int:
    from lossmap.base.settings import UNHEEDED, as_toml

    if asked.flow == "rank":
        from lossmap.base.rank_settings import RankSettings

        print(as_toml(RankSettings, "rank"))
    else:
        print(as_toml(without=UNHEEDED.get(asked.flow, ())))
    return 0
