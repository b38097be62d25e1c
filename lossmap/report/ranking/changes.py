"""What is different from the last plan of the same farm."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lossmap.base.ranking import Ranking
from lossmap.report.words import plain, short_day

__all__ = ["changes"]

#: Fields named that moved, at most.
MOST_MOVED = 6


@dataclass(frozen=True)
class _Plan:
    """What an earlier plan said: its day, and its fields in their order with their ranks and their readings."""

    on: datetime.date
    ranks: Mapping[str, int]
    moisture_pct: Mapping[str, float]
    read_on: Mapping[str, datetime.date]


def changes(before: Mapping[str, Any] | None, ranking: Ranking) -> list[str]:
    """What is different from an earlier plan of the same farm (its summary.json); nothing where there is none."""
    earlier = _earlier(before or {})
    if earlier is None:
        return []
    cut = [field.name for field in ranking.farm.fields if field.cut_on is not None and field.name in earlier.ranks]
    lines = [f"Cut since {short_day(earlier.on)}: {', '.join(cut)}."] if cut else []
    lines += _new_readings(earlier, ranking)
    first, was = ranking.fields[0].field.name, next(iter(earlier.ranks))
    lines += [f"The first field is now {first}; it was {was}{' (cut)' if was in cut else ''}."] if first != was else []
    lines += _moved(earlier, ranking)
    return lines or [f"Nothing of note since the plan of {short_day(earlier.on)}."]


def _earlier(summary: Mapping[str, Any]) -> _Plan | None:
    """An earlier plan by its summary.json; None where that is something else, or holds no field."""
    try:
        rows = {str(row["field"]): row for row in summary["fields"]}
        on = datetime.date.fromisoformat(str(summary["on"]))
        return (
            _Plan(
                on,
                {name: int(row["rank"]) for name, row in rows.items()},
                {name: float(row["moisture_now_pct"]["mean"]) for name, row in rows.items()},
                {name: on - datetime.timedelta(days=int(row["reading_age_days"])) for name, row in rows.items()},
            )
            if rows
            else None
        )
    except (KeyError, TypeError, ValueError):
        return None


def _new_readings(earlier: _Plan, ranking: Ranking) -> list[str]:
    read = [
        f"{of.field.name} ({plain(of.field.readings[-1].moisture_pct, 1)} %, was {plain(earlier.moisture_pct[of.field.name], 1)} %)"
        for of in ranking.fields
        if of.field.name in earlier.ranks and of.field.readings[-1].on > earlier.read_on[of.field.name]
    ]
    return [f"New readings: {', '.join(read)}."] if read else []


def _moved(earlier: _Plan, ranking: Ranking) -> list[str]:
    """Fields that stand two places or more from where they stood, of those that are in both plans; the farthest first."""
    now = [of.field.name for of in ranking.fields if of.field.name in earlier.ranks]
    then = sorted(now, key=lambda name: earlier.ranks[name])
    by = {name: then.index(name) - place for place, name in enumerate(now)}
    far = [name for name in sorted(by, key=lambda name: -abs(by[name])) if abs(by[name]) >= 2]
    said = [f"{name} {'up' if by[name] > 0 else 'down'} by {abs(by[name])}" for name in far[:MOST_MOVED]]
    return [f"Moved among those left: {', '.join(said)}."] if said else []
