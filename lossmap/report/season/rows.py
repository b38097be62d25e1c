"""A season's fields and comparisons as rows of the page's tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

import geopandas as gpd
import numpy as np
import pandas as pd

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.season import LevelContrast, Season
from lossmap.base.tables import DRIVER_WORDS, FACTORS
from lossmap.report.season.crops import common_words, mapped
from lossmap.report.season.words import ShownContrast, contrast_says, signed
from lossmap.report.words import NOT_KNOWN, Scale, Words

__all__ = ["Axis", "by_grain_left", "contrast_rows", "field_rows", "link_to"]

#: Levels of one factor on the page, at most: all stand in summary.json.
MOST_LEVELS = 8
_WIDE = 240.0


def by_grain_left(season: Season) -> gpd.GeoDataFrame:
    """The mapped fields, the one with most grain left on it first; those whose loss is not known last."""
    fields = mapped(season)
    left_kg = (fields["total_kg_ha"] * fields["area_ha"]).to_numpy(float)
    # NaN sorts last
    return fields.iloc[np.lexsort((fields["field_id"].to_numpy(str), -left_kg))]


def field_rows(fields: pd.DataFrame, season: Season) -> list[dict[str, Any]]:
    """One row a field: what was left on it, what that is of its yield and worth, and what it tracks."""
    return [_field(number, row, season) for number, row in enumerate(fields.to_dict("records"), start=1)]


def _field(number: int, row: dict[Any, Any], season: Season) -> dict[str, Any]:
    words = Words(reference.crop(row["crop"]), season.settings.report.units)
    loss = Estimate(*(float(row[f"total_{end}kg_ha"]) for end in ("", "low_", "high_")))
    money = _in_proportion(float(row["loss_usd"]), loss)
    return {
        "number": number,
        "name": row["name"],
        "map": link_to(row["field_id"], "map.html"),
        "report": link_to(row["field_id"], "report.html"),
        "crop": words.crop.name.replace("_", " "),
        "area": words.area.text(float(row["area_ha"])),
        "loss": _apart(words.loss, loss),
        "share": _apart(words.percent, _of_yield(float(row["total_pct"]), loss)),
        "grain": _apart(words.grain, loss.times(float(row["area_ha"]))),
        "money": _apart(words.money, money) if season.settings.report.price is not None else None,
        "verdicts": [(DRIVER_WORDS[name], _verdict(row[f"{name}_verdict"], row[f"{name}_rests_on"])) for name in DRIVER_WORDS],
    }


def _of_yield(share_pct: float, loss: Estimate) -> Estimate:
    """The share of the total yield, which grows with the loss: by the same ends as on the field's own pages."""
    if not (loss and loss.mean > 0 and 0 < share_pct < 100):
        return NOTHING
    harvested_kg_ha = loss.mean * (100 / share_pct - 1)
    return Estimate(*(100 * end / (harvested_kg_ha + end) for end in (loss.mean, loss.low, loss.high)))


def _in_proportion(value: float, loss: Estimate) -> Estimate:
    """Something that goes with a loss, with the loss's doubt."""
    return loss.times(value / loss.mean) if loss and loss.mean > 0 and math.isfinite(value) else NOTHING


def _apart(scale: Scale, estimate: Estimate) -> tuple[str, str]:
    """A value with its unit, and its interval."""
    return (scale.text(estimate.mean), scale.ends(estimate)) if estimate else (NOT_KNOWN, "")


def _verdict(verdict: str, rests_on: str) -> str:
    """A field's verdict, and what it rests on where that is not its own counts alone."""
    if verdict == "tracks":
        return "yes, with the season's counts" if rests_on == "season" else "yes, by its own counts"
    return verdict


def link_to(field_id: str, file: str) -> str:
    """Where a field's file lies, seen from the season's page: a path whatever a folder is called, never another scheme or host."""
    return "/".join(["."] + [quote(part, safe="") for part in field_id.split("/") if part not in ("", ".", "..")] + [file])


class Axis:
    """Ratios on a line of `_WIDE` units, by their logarithm: half and double lie equally far from 1."""

    def __init__(self, ratios: Sequence[Estimate]) -> None:
        ends = [abs(math.log(end)) for one in ratios for end in (one.low, one.high) if end > 0]
        self.most = min(max([*ends, math.log(1.25)]), math.log(8.0))

    def at(self, ratio: float) -> float:
        """Where a ratio lies; beyond the ends at the ends."""
        share = math.log(max(ratio, 1e-9)) / self.most
        return round(_WIDE / 2 * (1 + 0.95 * min(max(share, -1.0), 1.0)), 1)

    def ticks(self) -> list[tuple[str, float]]:
        """Ratios to mark, 1 among them, far enough apart to be read."""
        for half in ((1.1,), (1.25,), (1.5,), (2.0,), (2.0, 4.0)):
            if half[-1] ** 2 > math.exp(self.most):
                break
        marks = [*(1 / value for value in reversed(half)), 1.0, *half]
        return [(f"{mark:.2g}", self.at(mark)) for mark in marks if abs(math.log(mark)) <= self.most]


def contrast_rows(contrasts: Sequence[ShownContrast], season: Season) -> list[dict[str, Any]]:
    """Tables of one factor each: its word, its rows, how many are left out, and where 1 and the other marks lie."""
    words, tables = common_words(season), []
    for factor in dict.fromkeys(one.contrast.factor for one in contrasts):
        of = [one for one in contrasts if one.contrast.factor == factor]
        shown = of[:MOST_LEVELS]
        axis = Axis([one.contrast.ratio for one in shown])
        rows = [_contrast(one, axis, words) for one in shown]
        tables.append({"factor": FACTORS[factor], "rows": rows, "more": len(of) - len(shown), "ticks": axis.ticks(), "wide": _WIDE})
    return tables


def _contrast(one: ShownContrast, axis: Axis, words: Words) -> dict[str, Any]:
    found: LevelContrast = one.contrast
    low, mean, high = (axis.at(end) for end in (found.ratio.low, found.ratio.mean, found.ratio.high))
    return {
        "level": found.level,
        "against": one.against,
        "source": "all loss" if found.source == "total" else f"{found.source} loss",
        "fields": f"{found.fields} against {found.others}",
        "ratio": (f"{found.ratio.mean:.2f}", f"{found.ratio.low:.2f} to {found.ratio.high:.2f}"),
        "bar": (low, mean, high),
        "worth": signed(words.loss, found.worth_kg_ha) if found.worth_kg_ha else (NOT_KNOWN, ""),
        "says": contrast_says(found),
        "told": found.told,
    }
