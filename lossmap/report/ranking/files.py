"""ranking.csv, ranking.geojson and summary.json of an order of harvest."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely

from lossmap.base.ranking import RankedField, Ranking
from lossmap.report.files import csv_text, json_text, write_text, written
from lossmap.report.geojson import as_text, placed
from lossmap.report.json_values import by_acre, interval, known
from lossmap.report.ranking.page import ranking_page
from lossmap.report.ranking.words import cautions, headline, why
from lossmap.report.run_file import version
from lossmap.report.words import bushels_ac

__all__ = ["RANKING_FILES", "csv_of_ranking", "geojson_of_ranking", "said_of_ranking", "values_of_ranking", "write_ranking"]

RANKING_FILES = ("ranking.csv", "ranking.geojson", "ranking.html", "summary.json")


def write_ranking(ranking: Ranking, changed: Sequence[str], folder: Path) -> None:
    """Write the files into a folder that exists; ranking.geojson only where the place of a field is known.

    Parameters
    ----------
    ranking : Ranking
    changed : sequence of str
        What is different from the last plan, in words.
    folder : Path

    Raises
    ------
    WriteError
    """
    texts = {
        "ranking.csv": csv_of_ranking(ranking),
        "ranking.html": ranking_page(ranking, changed),
        "summary.json": json_text(values_of_ranking(ranking, changed)),
    }
    if any(of.field.place is not None for of in ranking.fields):
        texts["ranking.geojson"] = as_text(geojson_of_ranking(ranking))
    for name, text in texts.items():
        written(folder / name, partial(write_text, text=text), "make room, or give another --out")


def said_of_ranking(ranking: Ranking) -> str:
    """The order in one line."""
    head, cost = headline(ranking)
    return f"{head} {cost}"


def values_of_ranking(ranking: Ranking, changed: Sequence[str] = ()) -> dict[str, Any]:
    """Everything of the page as numbers: same plan, same bytes."""
    return {
        "lossmap": version(),
        "farm": ranking.farm.name,
        "farm_id": ranking.farm.id,
        "on": ranking.on.isoformat(),
        "fields": [_field(of, ranking) for of in ranking.fields],
        "gain": [
            {"over": gain.rule, "usd": interval(gain.usd), "rule_as_good_pct": known(100 * gain.rule_as_good)} for gain in ranking.gains
        ],
        "lost_hours": [
            {
                "combine": lost.combine,
                "hour_usd": known(lost.hour_usd),
                "day_usd": known(lost.day_usd),
                "three_days_usd": known(lost.three_days_usd),
            }
            for lost in ranking.lost_hours
        ],
        "work_h": known(ranking.work_h),
        "season_h": known(ranking.season_h),
        "years": list(ranking.years),
        "forecast_days": ranking.forecast_days,
        "measure": ranking.measure,
        "above_bound_usd": known(ranking.proof_usd),
        "changed": list(changed),
        "cautions": cautions(ranking),
        "inputs_sha256": dict(ranking.inputs),
    }


def csv_of_ranking(ranking: Ranking) -> str:
    """One row a field in its order; text that a spreadsheet would run begins with an apostrophe."""
    return csv_text([_flat(_field(of, ranking)) for of in ranking.fields])


def geojson_of_ranking(ranking: Ranking) -> dict[str, Any]:
    """Each field with a place: its outline where one was given, else a point."""
    located = [of for of in ranking.fields if of.field.place is not None]
    shapes = [of.field.outline if of.field.outline is not None else shapely.Point(of.field.place or ()) for of in located]
    return placed([_flat(_field(of, ranking)) for of in located], gpd.GeoSeries(shapes, crs="EPSG:4326"))


def _field(of: RankedField, ranking: Ranking) -> dict[str, Any]:
    field, crop = of.field, of.field.crop
    out: dict[str, Any] = {
        "rank": of.rank,
        "field": field.name,
        "crop": crop.name,
        "combine": of.combine,
        "area_ha": known(field.area_ha),
        "block": of.block,
        "cut_on": of.cut_on.isoformat(),
        "early_on": of.early_on.isoformat(),
        "late_on": of.late_on.isoformat(),
        "done_on": of.done_on.isoformat(),
        "best_alone_on": of.best_on.isoformat(),
        "moisture_now_pct": interval(of.moisture_now_pct),
        "moisture_pct": interval(of.moisture_pct),
        "wait_usd_ac_day": interval(by_acre(of.wait_usd_ha_day)),
        "wait_usd_ha_day": interval(of.wait_usd_ha_day),
        "wait_kg_ha_day": interval(of.wait_kg_ha_day),
    }
    if crop.bushel_lb is not None:
        out["wait_bu_ac_day"] = interval(of.wait_kg_ha_day.times(bushels_ac(crop)))
    pair = of.before
    return out | {
        "wait_usd_ha_week": interval(of.wait_usd_ha_week),
        "chance_first_pct": known(100 * of.first_chance),
        "before": pair.other if pair else None,
        "before_chance_pct": known(100 * pair.chance) if pair else None,
        "before_gain_usd": interval(pair.gain_usd) if pair else {"mean": None, "low": None, "high": None},
        "label": pair.label if pair else None,
        "reading_age_days": of.reading_age_days,
        "reading_worth_usd": known(of.reading_worth_usd),
        "why": why(of, ranking),
    }


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    """An interval in three columns: the mean under the name, its ends beside it."""
    out: dict[str, Any] = {}
    for name, value in row.items():
        if isinstance(value, dict):
            out |= {name: value["mean"], f"{name}_low": value["low"], f"{name}_high": value["high"]}
        else:
            out[name] = value
    return out
