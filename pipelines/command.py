"""The `lossmap` command: which flow answers, what it prints, and with which exit code it ends.

Heavy libraries are imported inside the flows, so that ``lossmap --help`` answers at once.
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import io
import json
import logging
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

from . import plain_process
from .arguments import parser
from .made import Made
from .progress import listen

__all__ = ["main"]

#: A screen of them.
MOST_FAULTS = 20

# What a disk says that is full, broken or not to be written to.
_DISK = (errno.ENOSPC, errno.EIO, errno.EDQUOT, errno.EFBIG, errno.EROFS)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    _open_streams()
    asked = parser().parse_args(argv)
    _make_ready()
    from lossmap.base.errors import LossmapError

    try:
        code = _FLOWS[asked.command](asked)
        sys.stdout.flush()
    except LossmapError as refusal:
        _refused(str(refusal).splitlines())
        return refusal.exit_code
    except KeyboardInterrupt:
        print("lossmap: stopped; earlier results are as they were", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # whoever read our output has gone, and nothing is left to say
        _say_no_more()
        return 0
    except OSError as fault:
        if isinstance(fault, FileNotFoundError) and not _is_somewhere():
            print("lossmap: the folder it was started in is gone; change to another and run it again", file=sys.stderr)
            return 2
        if fault.errno not in _DISK:
            raise
        _say_no_more()
        print(f"lossmap: cannot write ({fault.strerror}); make room and run it again", file=sys.stderr)
        return 2
    except MemoryError:
        print("lossmap: needs more memory than there is; split the files by field, or set a larger grid.cell", file=sys.stderr)
        return 3
    return code


def _open_streams() -> None:
    """A stream that the caller has closed leads nowhere; the next file opened would take its number, and messages would stand in it."""
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(number)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 as long as the process lives


def _make_ready() -> None:
    """What holds for a whole run, whatever is asked for."""
    # one thread: a field's matrices are small, and sums keep their order on every machine
    plain_process()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a sign gets its number, not a crash
            stream.reconfigure(errors="backslashreplace")
    # without a home that can be written to it makes do, and nobody need hear of it
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    with contextlib.suppress(ValueError):  # who calls from another thread than the first has signals of their own
        signal.signal(signal.SIGTERM, _stop)


def _stop(number: int, frame: object) -> None:
    """A polite kill ends like Ctrl-C: whole files or none, and nothing left lying about."""
    raise KeyboardInterrupt


def _say_no_more() -> None:
    """Nothing more to stdout, not even what Python would flush at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _is_somewhere() -> bool:
    """Whether the folder we were started in is still there."""
    try:
        return bool(Path.cwd())
    except FileNotFoundError:
        return False


def _refused(faults: Sequence[str]) -> None:
    """Say what is wrong; of faults by the hundred, the first."""
    for fault in faults[:MOST_FAULTS]:
        print(f"lossmap: {fault}", file=sys.stderr)
    if len(faults) > MOST_FAULTS:
        print(
            f"lossmap: {len(faults) - MOST_FAULTS:,} more like these: mend the first, they may be one; then run it again", file=sys.stderr
        )


def _map(asked: argparse.Namespace) -> int:
    from lossmap.read import read_settings

    from .map_field import map_field

    return _done(asked, map_field(asked.field, read_settings(asked.config, asked.set), asked.out, _is_watched(asked)))


def _stops(asked: argparse.Namespace) -> int:
    from lossmap.read import read_settings

    from .plan_stops import plan_stops

    number = [] if asked.number is None else [f"stops.number={asked.number}"]
    return _done(asked, plan_stops(asked.field, read_settings(asked.config, [*asked.set, *number]), asked.out, _is_watched(asked)))


def _rank(asked: argparse.Namespace) -> int:
    from lossmap.base.rank_settings import RankSettings
    from lossmap.read import read_chosen

    from .rank_fields import rank_fields

    settings = read_chosen(RankSettings, asked.config, asked.set)
    return _done(asked, rank_fields(asked.farm, settings, asked.out, asked.on, _is_watched(asked)))


def _season(asked: argparse.Namespace) -> int:
    from lossmap.read import read_settings

    from .season import map_season

    settings, cores = read_settings(asked.config, asked.set), 1 if asked.cores is None else asked.cores
    season = map_season(asked.folder, settings, asked.out, cores, asked.cluster, asked.again, _is_watched(asked))
    return _done(asked, season) or (4 if season.failed else 0)


def _is_watched(asked: argparse.Namespace) -> bool:
    """Whether a person waits in front of a screen; the log goes to stderr from here on."""
    return listen(asked.quiet, asked.verbose)


def _done(asked: argparse.Namespace, made: Made) -> int:
    """Print what was made and what it says, or all of it as JSON; what has to be noted goes to the log."""
    print(json.dumps(made.values, ensure_ascii=False, sort_keys=True) if asked.json else f"{made.file}: {made.sentence}")
    for note in made.notes:
        logging.getLogger("lossmap").warning("%s: %s", made.file.parent.name, note)
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


def _version_or_help(asked: argparse.Namespace) -> int:
    """No flow was named."""
    if asked.version:
        from lossmap import __version__

        print(f"lossmap {__version__}")
        return 0
    parser().print_help(sys.stderr)
    return 2


_FLOWS = {
    "map": _map,
    "stops": _stops,
    "rank": _rank,
    "season": _season,
    "check": _check,
    "settings": _settings,
    None: _version_or_help,
}
