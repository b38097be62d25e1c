"""Every field below a folder to its map, and what all of them say together; a field that fails stops no other."""

from __future__ import annotations

import datetime
import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain
from pathlib import Path, PurePosixPath
from typing import Any

import geopandas as gpd

from lossmap.base.errors import SettingsError, TooLittleData
from lossmap.base.season import Pooled, Season
from lossmap.base.settings import Settings
from lossmap.base.tables import DRIVE, SEASON
from lossmap.pool import pool
from lossmap.read import field_folders
from lossmap.report import SEASON_FILES, said_of_season, values_of_season, write_season

from .made import Made
from .progress import Fields
from .season_field import Job, failed_row, field_row
from .turns import alone, in_turn
from .whole import apart, sweep, whole_files, writable
from .workers import Crew, Lost, worked, workers

__all__ = ["SeasonMade", "map_season"]

_log = logging.getLogger("lossmap")

_WAITS = "%s: another season is at work on %s; this one waits until it has ended"
_STOPPED = "%s: stopped after %d of %d fields, which stay; the same command goes on from there"
_GONE = "its results were there and are gone; run the same again, with --out on storage that all workers share and that nothing else clears"


@dataclass(frozen=True)
class SeasonMade(Made):
    """The results of a season, and how many of its fields failed."""

    failed: int = 0


def map_season(
    folder: Path, settings: Settings, out: Path, cores: int = 1, cluster: str | None = None, again: bool = False, bar: bool = False
) -> SeasonMade:
    """Map every field below a folder into ``out/<folder's name>/<field's path>``, and pool them.

    A script that calls this with `cores` needs ``if __name__ == "__main__":`` around it, as
    for any process pool of Python.

    Parameters
    ----------
    folder : Path
        Holds fields, folders with ``field.toml``, at any depth.
    settings : Settings
    out : Path
    cores : int
        Fields mapped at a time, each in a process of its own; 0 maps them in this one, where
        a field that hangs cannot be stopped.
    cluster : str, optional
        Address of a Dask scheduler whose workers do it instead.
    again : bool
        Also those whose inputs, settings and version are unchanged.
    bar : bool
        Whether a person watches.

    Raises
    ------
    LossmapError
        There is no field, none could be mapped, or the place for the results, the cluster or
        the settings are wrong; earlier results are left as they were.
    """
    folder = folder.resolve()
    target = out / (folder.name or "season")
    jobs, misplaced = _jobs(folder, settings, out.resolve(), target.resolve(), again)
    writable(target)
    with alone(target, partial(_log.warning, _WAITS, folder.name, target)):
        rows = dict[str, dict[str, Any]]()
        try:
            with workers(cores, cluster, folder) as crew, Fields(len(jobs) + len(misplaced), bar) as shown:
                for field_id, row in chain(misplaced.items(), _rows(crew, jobs, settings.season.field_limit)):
                    rows[field_id] = row
                    shown(field_id, row["error"], bool(row["remade"]), row["seconds"])
        except KeyboardInterrupt:
            _log.warning(_STOPPED, folder.name, len(rows), len(jobs) + len(misplaced))
            raise
        finally:
            for place in {job.target.parent for job in jobs}:
                sweep(place)
        for job in jobs:
            rows[job.field_id] = _still_there(rows[job.field_id], job)
        season = _season(folder.name, [rows[field_id] for field_id in sorted(rows)], settings)
        with whole_files(target) as files:
            write_season(season, files)
    failed = int((season.fields["error"] != "").sum())
    return SeasonMade(target / "season.html", said_of_season(season), values_of_season(season), season.pooled.notes, failed)


def _jobs(folder: Path, settings: Settings, out: Path, target: Path, again: bool) -> tuple[list[Job], dict[str, dict[str, Any]]]:
    """What there is to do, and rows of fields that lie where none can."""
    if not folder.is_dir():
        raise SettingsError(f"{folder}: no such folder; give the one that holds the fields")
    apart(folder, target)
    _ours(target)
    # --out may be the folder itself: then only this season's own results are left alone
    found = field_folders(folder, leave=(target if out == folder else out,))
    if not found:
        raise TooLittleData(
            f"{folder}: no field is in it (no folder with a field.toml, at any depth); give the folder that holds the fields"
        )
    if "." in found:
        raise SettingsError(f"{folder}: is a field itself (it holds field.toml); give the folder above, or run lossmap map on it")
    for path in found.values():
        if target.is_relative_to(path.resolve()):
            raise SettingsError(f"{target}: lies in a field's own folder ({path.relative_to(folder)}); give another --out")
    jobs = {field_id: Job(field_id, path, target / field_id, settings, again) for field_id, path in found.items()}
    misplaced = {field_id: fault for field_id in found if (fault := _misplaced(field_id, found))}
    return [job for job in jobs.values() if job.field_id not in misplaced], {
        field_id: failed_row(jobs[field_id], fault, 0.0) for field_id, fault in misplaced.items()
    }


def _ours(target: Path) -> None:
    """Refuse a folder with the results of one field or of a farm, of which a season would replace a part."""
    if (target / "run.toml").exists() or (target / "ranking.html").exists():
        raise SettingsError(f"{target}: holds the results of a field or a farm, of which a season would replace a part; give another --out")


def _misplaced(field_id: str, found: Mapping[str, Path]) -> str:
    """Why the results of a field could not lie where they would; "" where they can."""
    above = next((str(one) for one in PurePosixPath(field_id).parents if str(one) in found), None)
    if above is not None:
        return f"lies in the folder of another field ({above}), and so would its results; move it beside that"
    if field_id.partition("/")[0] in SEASON_FILES:
        return "has the name of a file that a season writes; give its folder another"
    return ""


def _rows(crew: Crew, jobs: list[Job], limit_s: float) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each field's row as it is done; those whose process died or ran out of memory are tried once more, alone."""
    once_more: list[Job] = []
    for job, found in worked(crew, field_row, jobs, limit_s):
        if isinstance(found, Lost) and found.why in ("killed", "memory"):
            once_more.append(job)
        else:
            yield job.field_id, _as_row(job, found, limit_s)
    for job, found in worked(crew, field_row, once_more, limit_s, alone=True):
        yield job.field_id, _as_row(job, found, limit_s)


def _as_row(job: Job, found: dict[str, Any] | Lost, limit_s: float) -> dict[str, Any]:
    if not isinstance(found, Lost):
        return found
    if found.trace:
        _log.debug("%s: %s", job.field_id, found.trace)
    return failed_row(job, _IN_WORDS[found.why].format(detail=found.detail, limit=f"{limit_s:g} s", job=job))


_IN_WORDS = {
    "killed": "its process was killed ({detail}), and once more with no other field beside it; most often that is a lack of memory: "
    "close other programs, or take a machine with more",
    "memory": "needs more memory than there is, even with no other field beside it; close other programs, or take a machine with more",
    "limit": "took longer than {limit} and was stopped; try it alone with lossmap map, or give it longer (season.field_limit)",
    "stopped": "was given up by the cluster; run the same again",
    "fault": "lossmap itself failed on it ({detail}); lossmap map {job.folder} shows where: please report that",
}


def _still_there(row: dict[str, Any], job: Job) -> dict[str, Any]:
    """The row; a failed one where the results that it speaks of are not there any more."""
    with in_turn(job.target.parent):  # a map of this field alone may be putting its own in their place
        if row["error"] or job.target.is_dir():
            return row
    _log.warning("%s: %s", job.field_id, _GONE)
    return failed_row(job, _GONE, row["seconds"])


def _season(name: str, rows: list[dict[str, Any]], settings: Settings) -> Season:
    """The rows as a table, with what all fields say together and the verdicts that rest on it."""
    mapped = [row for row in rows if not row["error"]]
    if not mapped:
        raise TooLittleData(f"{name}: none of its {len(rows)} fields could be mapped; the first, {rows[0]['field_id']}: {rows[0]['error']}")
    # a field knows itself by its folder's name, of which a season may have several
    pooled = pool([replace(row["evidence"], field_id=row["field_id"]) for row in mapped], settings.season)
    for row in mapped:
        _borrow(row, pooled)
    columns = [column.name for column in SEASON.columns]
    fields = gpd.GeoDataFrame([{name: row[name] for name in (*columns, "geometry")} for row in rows], geometry="geometry", crs="EPSG:4326")
    return Season(name, SEASON.check(fields), pooled, settings, datetime.date.today())


def _borrow(row: dict[str, Any], pooled: Pooled) -> None:
    """Let a verdict that the field's own counts cannot carry rest on the season."""
    for driver in DRIVE:
        shrunken = pooled.drivers[driver].shrunken.get(row["field_id"])
        if row[f"{driver}_verdict"] != "tracks" and shrunken is not None and shrunken.tracks:
            row[f"{driver}_verdict"], row[f"{driver}_rests_on"] = "tracks", "season"
