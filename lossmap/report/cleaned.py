"""What was cleaned: which records were set aside and why, and what that did to the yields.

A cleaning that nobody can look into cannot be trusted, so the page shows every reason with
its count and its places, the figures before and after, and how sure each delay is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import markupsafe

from lossmap.base.field import Cleaning, FieldMap
from lossmap.report.cleaned_drawings import drawing_of_delay, drawing_of_flags, drawing_of_yields, key_mark
from lossmap.report.flag_groups import group_of
from lossmap.report.sentences import delay
from lossmap.report.words import NOT_KNOWN, Words, plain

__all__ = ["Reason", "cleaned"]

#: What each reason of `tables.FLAGS` says, for whoever never saw a log.
_MEANS: Mapping[str, str] = {
    "bad position": "no position, or one far from the field",
    "duplicate": "written twice",
    "section row": "one reading written once for each header section; summed into one record",
    "position jump": "thrown aside from the records before and after it",
    "not working": "no grain came, or the header was up",
    "short pass": "a pass too short to fill the machine",
    "pass start": "the machine was still filling",
    "pass end": "the machine was running empty",
    "speed change": "speed changed too much from the record before",
    "swath already cut": "most of the width had been cut before",
    "outside field": "beyond the boundary",
    "beyond crop limits": "more than this crop can yield, or nothing",
    "unlike the field": "far from all other yields of the field",
    "unlike its neighbours": "far from the yields around it",
    "no yield": "no yield could be worked out",
}


@dataclass(frozen=True)
class Reason:
    """One reason as a row of a table, with the mark that its records have on the drawing."""

    name: str
    means: str
    records: str
    share: str
    mark: markupsafe.Markup


def cleaned(field_map: FieldMap, words: Words) -> dict[str, Any]:
    """The values of the page's part on cleaning."""
    found = field_map.cleaning
    return {
        "read": f"{found.read:,}",
        "kept": f"{found.kept:,}",
        "kept_share": _share(found.kept, found.read),
        "warnings": found.notes,
        "reasons": _reasons(found),
        "flags": drawing_of_flags(field_map, words),
        "figures": _figures(found.before, found.after, words),
        "yields": drawing_of_yields(field_map, words),
        "delays": [
            {"name": name, "text": delay(name, late, words), "drawing": drawing_of_delay(name, late, words)}
            for name, late in (("flow", found.flow_delay), ("moisture", found.moisture_delay))
        ],
        "areas": _areas(found, words),
        "offset": _offset(found, words),
        "machines": [(name, f"{by.mean:.3f}", f"{by.low:.3f} to {by.high:.3f}") for name, by in found.machine_factors.items()],
    }


def _reasons(found: Cleaning) -> list[Reason]:
    return [
        Reason(reason, _MEANS.get(reason, ""), f"{number:,}", _share(number, found.read), key_mark(group_of(reason)))
        for reason, number in found.flags.items()
    ]


def _share(number: int, of: int) -> str:
    """Percent of all records; what occurs is never said to be nothing."""
    if not of:
        return NOT_KNOWN
    share = 100 * number / of
    return "< 0.1 %" if 0 < share < 0.05 else f"{plain(share, 1)} %"


def _figures(before: Mapping[str, float], after: Mapping[str, float], words: Words) -> list[tuple[str, str, str, str]]:
    """Each figure that is known before or after: its name, what it is, and both values with their unit.

    Semivariances stand as their square roots: in the unit of yield a person can weigh them.
    """
    rough = words.roughness.text
    rows = (
        ("mean", "mean", "over the records, whatever their area", words.harvest.text),
        ("median", "middle value", "median", words.harvest.text),
        ("sd", "spread", "standard deviation", rough),
        ("cv_pct", "spread over mean", "coefficient of variation", _percent),
        ("skewness", "skewness", "below 0: a tail of low yields; no unit", _bare),
        ("first_lag", "noise between neighbours", "square root of the semivariance at the first lag", lambda value: rough(_root(value))),
        ("nugget", "noise on the spot", "square root of the nugget", lambda value: rough(_root(value))),
        ("sill", "spread far apart", "square root of the sill", lambda value: rough(_root(value))),
        ("mass_kg", "grain of these records", "together, at market moisture", words.grain.text),
    )
    nothing = math.nan
    return [
        (said, means, shown(before.get(name, nothing)), shown(after.get(name, nothing)))
        for name, said, means, shown in rows
        if math.isfinite(before.get(name, nothing)) or math.isfinite(after.get(name, nothing))
    ]


def _root(value: float) -> float:
    return math.sqrt(value) if value >= 0 else math.nan


def _percent(value: float) -> str:
    return f"{plain(value, 1)} %" if math.isfinite(value) else NOT_KNOWN


def _bare(value: float) -> str:
    return plain(value, 2) if math.isfinite(value) else NOT_KNOWN


def _areas(found: Cleaning, words: Words) -> list[tuple[str, str, str]]:
    """Area by width times distance twice, and by the ground that all swaths cover."""
    rows = (
        ("logged", "width times distance of every record at work", found.logged_ha),
        ("freshly cut", "the same, without what a swath ran over again", found.fresh_ha),
        ("covered", "all swaths together, each place once", found.union_ha),
    )
    return [(name, means, words.area.text(area)) for name, means, area in rows]


def _offset(found: Cleaning, words: Words) -> str:
    """How much passes differ in level; a warning of uneven width or a drifting sensor."""
    if not math.isfinite(found.pass_offset_pct):
        return f"How much passes differ from their neighbours in level of yield is {NOT_KNOWN}: there are too few of them."
    return (
        f"In level of yield, passes differ from their neighbours by {words.percent.text(found.pass_offset_pct)} (standard deviation over "
        "the passes). A header not used at its full width, a sensor that drifts and strips treated differently all show here."
    )
