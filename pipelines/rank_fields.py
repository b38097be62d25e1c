"""A farm's fields to the order in which to cut them; run again with the day's readings it says what changed."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lossmap.base.errors import SettingsError
from lossmap.base.rank_settings import RankSettings
from lossmap.drydown import rank
from lossmap.read import farm_fingerprints, read_farm, read_farm_weather
from lossmap.report import ranking_changes, said_of_ranking, values_of_ranking, write_ranking

from .made import Made
from .progress import Stages
from .whole import apart, whole_files

__all__ = ["rank_fields"]


def rank_fields(path: Path, settings: RankSettings, out: Path, on: datetime.date | None = None, bar: bool = False) -> Made:
    """Put the fields of a farm in order, into ``out/<folder's name>``.

    Parameters
    ----------
    path : Path
        A folder with ``farm.toml``, or that file.
    settings : RankSettings
    out : Path
    on : date, optional
        The day of the plan; today where it is left out.
    bar : bool
        Whether a person watches.

    Raises
    ------
    LossmapError
        Whatever is wrong with facts, readings, weather or the place for the results; an
        earlier result is left as it was.
    """
    farm = read_farm(path)
    target = out / farm.id
    apart(farm.folder, target)
    day = on or datetime.date.today()
    stage = Stages(farm.id, bar)
    with stage("read"):
        record = read_farm_weather(farm)
        inputs = farm_fingerprints(farm)
    with stage("plan"):
        ranking = rank(farm, record, day, settings, inputs)
    changed = ranking_changes(_earlier(target), ranking)
    with stage("write"), whole_files(target) as folder:
        write_ranking(ranking, changed, folder)
    return Made(target / "ranking.html", said_of_ranking(ranking), values_of_ranking(ranking, changed), ranking.notes)


def _earlier(target: Path) -> Mapping[str, Any] | None:
    """The last plan's summary, if one lies there."""
    try:
        found = json.loads((target / "summary.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if isinstance(found, dict) and "farm_id" not in found:
        raise SettingsError(f"{target}: holds the results of a field, which a plan would replace in part; give another --out")
    return found if isinstance(found, dict) else None
