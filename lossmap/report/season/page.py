"""season.html: what a season's fields lost, where, with what it goes, and what to change, on one page without scripts.

Names of fields, headers and people are text from files: they only ever go in as values of a
template that escapes, and links to fields are built from quoted parts.
"""

from __future__ import annotations

import math
from typing import Any

import markupsafe
import numpy as np
import pandas as pd

from lossmap.base import reference
from lossmap.base.season import PooledCurve, PooledDriver, Season
from lossmap.base.tables import SOURCES
from lossmap.report.classes import Classes, classes
from lossmap.report.drawings import drawing_of_sources
from lossmap.report.footnotes import Footnotes
from lossmap.report.numbers import doubt_line
from lossmap.report.run_file import changed, version
from lossmap.report.season.crops import CropLoss, common_words, crop_losses, failed, mapped
from lossmap.report.season.drawings import drawing_of_pooled
from lossmap.report.season.drivers import between_line, driver_head, driver_lines, shared_cause
from lossmap.report.season.map import Part, season_map
from lossmap.report.season.rows import by_grain_left, contrast_rows, field_rows
from lossmap.report.season.words import cautions, contrasts_shown, first_steps, in_short, subtitle
from lossmap.report.sentences import SOURCE_WORDS, after_largest, largest_sources
from lossmap.report.templates import asset, filled, policy
from lossmap.report.words import Scale, Words, count_of, plain

__all__ = ["season_page"]

#: Rows of the table, those shown at once and at most; failures named, and crops that get advice of their own.
FIRST_ROWS, MOST_ROWS, MOST_FAILED, MOST_ADVISED = 40, 200, 60, 3


def season_page(season: Season) -> str:
    """The content of season.html: same season, same bytes.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of one of the crops.
    """
    crops, words, fields = crop_losses(season), common_words(season), by_grain_left(season)
    rows = field_rows(fields.head(MOST_ROWS), season)
    footnotes = Footnotes()
    advice = [_advice(crop, season, footnotes) for crop in crops[:MOST_ADVISED]]
    return filled(
        "season.html.j2",
        policy=policy(),
        styles=markupsafe.Markup("".join(asset(name) for name in ("page.css", "field.css", "report.css", "season.css"))),
        title=season.name,
        subtitle=subtitle(season),
        crops=[_crop(crop) for crop in crops],
        doubt=doubt_line(),
        short=in_short(season),
        map=_map(fields, crops, season, words),
        rows=rows[:FIRST_ROWS],
        more_rows=rows[FIRST_ROWS:],
        left_out=len(fields) - len(rows),
        several=fields["crop"].nunique() > 1,
        sources=[_sources(crop, number) for number, crop in enumerate(crops)],
        drivers=[_driver(found, season, words, crops) for found in season.pooled.drivers.values()],
        shared_cause=shared_cause(),
        contrasts=contrast_rows(contrasts_shown(season.pooled.contrasts), season),
        failures=_failures(season),
        first=first_steps(season),
        advice=advice,
        footnotes=footnotes.titles(),
        safety=(*reference.cautions("adjust"), *reference.cautions("count"), *reference.cautions("fire")),
        notes=cautions(season),
        done=_done(season),
        settings=changed(season.settings),
        version=version(),
    )


def _crop(crop: CropLoss) -> dict[str, str]:
    return {
        "name": crop.name.capitalize(),
        "loss": crop.words.loss.text(crop.total.mean),
        "ends": crop.words.loss.ends(crop.total),
        "more": crop.more,
    }


def _map(fields: pd.DataFrame, crops: tuple[CropLoss, ...], season: Season, words: Words) -> dict[str, Any]:
    """The drawings with their key; one crop's fields by loss, those of several by their share of the yield."""
    scale, values, doubts, what = _coloured(fields, crops, words)
    shown = classes(values, scale, "loss", float(np.nanmedian(doubts)) if np.isfinite(doubts).any() else 0.0)
    of = shown.of(values * scale.factor)
    parts = season_map(fields.geometry, list(fields["name"]), of, words)
    return {
        "parts": parts,
        "colours": shown.colours,
        "edges": shown.edge_texts(),
        "title": f"{what}, {scale.unit}",
        "same": "" if shown.edges or not np.isfinite(values).any() else scale.text(float(np.nanmean(values))),
        "unknown": bool((of == 255).any()),
        "caption": _map_caption(parts, shown, of, len(fields)),
    }


def _coloured(fields: pd.DataFrame, crops: tuple[CropLoss, ...], words: Words) -> tuple[Scale, np.ndarray, np.ndarray, str]:
    """What colours the map: its scale, each field's value [SI], half of its interval, and its name."""
    low, mean, high = (fields[f"total_{end}kg_ha"].to_numpy(float) for end in ("low_", "", "high_"))
    if fields["crop"].nunique() <= 1:
        return words.loss, mean, (high - low) / 2, f"Loss of {crops[0].name}" if crops else "Loss"
    share = fields["total_pct"].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        return words.percent, share, share * (high - low) / (2 * mean), "Loss of the total yield"


def _map_caption(parts: tuple[Part, ...], shown: Classes, of: np.ndarray, fields: int) -> str:
    """What the colours stand for, for those who do not see them, and how to read the numbers."""
    counts = [
        f"{text}: {count_of(int((of == number).sum()), 'field')}" for number, text in enumerate(shown.texts()) if (of == number).any()
    ]
    lines = [f"{'; '.join(counts)}."] if counts else []
    lines.append("Numbers are those of the table: 1 has most grain left.")
    if len(parts) > 1:
        lines.append(
            "Fields lie far apart: the first drawing shows all of them, north up in its middle; each lettered frame is drawn larger below."
        )
    if any(shape.speck for part in parts for shape in part.shapes):
        lines.append("A dot stands for a field too small to be seen at that scale.")
    unlabelled = sum(part.unlabelled for part in parts)
    if unlabelled:
        lines.append(f"{count_of(unlabelled, 'number')} found no room; season.geojson holds every outline.")
    return " ".join(lines) if fields else ""


def _sources(crop: CropLoss, number: int) -> dict[str, Any]:
    """Where one crop's loss fell."""
    words, name = crop.words, f"sources-{number}"
    rows = [
        {
            "source": "all sources" if source == "total" else f"{source} loss",
            "where": "" if source == "total" else SOURCE_WORDS[source],
            "loss": words.loss.interval(crop.loss[source]),
            "other": words.other_loss.interval(crop.loss[source]),
            "money": crop.price.by_area(crop.loss[source], words) if crop.price else "",
        }
        for source in (*SOURCES, "total")
        if crop.loss.get(source)
    ]
    apart = len(rows) > 1
    return {
        "crop": crop.name.capitalize(),
        "rows": rows,
        "other_unit": words.other_loss.unit,
        "name": name,
        "drawing": drawing_of_sources(crop.loss, words, name) if apart else None,
        "said": after_largest(largest_sources(crop.loss)),
    }


def _driver(found: PooledDriver, season: Season, words: Words, crops: tuple[CropLoss, ...]) -> dict[str, Any]:
    # one price is no price of several crops
    price = crops[0].price if len(crops) == 1 else None
    return {
        "head": driver_head(found),
        "lines": driver_lines(found, words, price),
        "between": between_line(found, words),
        "drawing": drawing_of_pooled(found, season.pooled.curves.get(found.name, PooledCurve()), words),
    }


def _advice(crop: CropLoss, season: Season, footnotes: Footnotes) -> dict[str, Any]:
    """What to look at before and in the next season, for the source that loses most of one crop."""
    tracked = [name for name, found in season.pooled.drivers.items() if found.verdict == "tracks"]
    largest = largest_sources(crop.loss)
    parts = [
        # in the order in which they are read: what must be settled before the season stands first
        {
            "source": source,
            **footnotes.advice(
                sorted(reference.advice(source, crop.words.crop.name, tracked), key=lambda row: row.when == "now"), crop.words
            ),
        }
        for source in largest[:2]
    ]
    return {"crop": crop.name.capitalize(), "largest": after_largest(largest), "parts": parts}


def _failures(season: Season) -> dict[str, Any]:
    bad = failed(season)
    rows = [{"name": row["name"], "field_id": row["field_id"], "error": row["error"]} for row in bad.head(MOST_FAILED).to_dict("records")]
    return {
        "rows": rows,
        "more": len(bad) - len(rows),
        "count": f"{len(bad):,} of {count_of(len(season.fields), 'field')}",
        "one": len(bad) == 1,
    }


def _done(season: Season) -> str:
    """How the fields came to be here."""
    fields, bad = mapped(season), failed(season)
    remade = int(fields["remade"].sum())
    seconds = float(season.fields["seconds"].sum())
    took = (
        f", {plain(seconds / 60, 0) if seconds >= 600 else plain(seconds, 0)} {'minutes' if seconds >= 600 else 's'} of work"
        if math.isfinite(seconds)
        else ""
    )
    return (
        f"{count_of(remade, 'field')} mapped in this run, {len(fields) - remade:,} taken over unchanged from an earlier one, "
        f"{len(bad):,} failed{took}."
    )
