"""report.html: what was found, in plain words, with its doubt, for reading and for paper.

Written by a template that escapes; text from files only ever goes in as values. The page
runs no script and asks for nothing.
"""

from __future__ import annotations

from typing import Any

import markupsafe

from lossmap.base import reference
from lossmap.base.field import FieldMap
from lossmap.report.advice import first_step, pace, reel, slower_pays, yardstick
from lossmap.report.cleaned import cleaned
from lossmap.report.drawings import drawing_of_driver, drawing_of_sources
from lossmap.report.footnotes import Footnotes
from lossmap.report.money import money_line, money_needed, price_of
from lossmap.report.numbers import (
    doubt_line,
    flat_line,
    grain_line,
    headline,
    loss_rows,
    more_counts,
    seeds_line,
    subtitle,
    words_of,
)
from lossmap.report.rows import zone_rows
from lossmap.report.run_file import changed, version
from lossmap.report.sentences import SOURCE_WORDS, after_largest, driver, driver_word, largest_sources
from lossmap.report.templates import asset, filled, policy
from lossmap.report.unknown import unknown_part
from lossmap.report.words import Words, count_of

__all__ = ["page"]


def page(field_map: FieldMap) -> str:
    """The content of report.html: same field, same bytes.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    words = words_of(field_map)
    largest = largest_sources(field_map.loss)
    footnotes = Footnotes()
    # in the order in which a reader meets them
    usual = footnotes.under(*yardstick(field_map, words))
    advice = [_advice(source, field_map, words, footnotes) for source in largest]
    of_reel = footnotes.under(*reel(field_map, words))
    return filled(
        "report.html.j2",
        policy=policy(),
        styles=markupsafe.Markup(asset("page.css") + asset("report.css")),
        title=field_map.field.facts.name,
        subtitle=subtitle(field_map, words),
        facts=_facts(field_map, words),
        headline=headline(field_map, words),
        doubt=doubt_line(),
        rows=loss_rows(field_map, words),
        other_unit=words.other_loss.unit,
        sources_drawing=drawing_of_sources(field_map.loss, words),
        harvest=words.harvest.text(field_map.yield_kg_ha),
        stops=count_of(len(field_map.losses), "stop"),
        seeds=seeds_line(field_map, words),
        grain=grain_line(field_map, words),
        money=money_line(field_map, words) or money_needed(field_map, words),
        usual=usual,
        flat=flat_line(field_map),
        drivers=_drivers(field_map, words),
        zones=zone_rows(field_map, words),
        more=more_counts(field_map, unknown_part(field_map)),
        first=first_step(field_map.drivers, words, price_of(field_map), field_map.pace),
        pace=pace(field_map, words),
        reel=of_reel,
        largest=after_largest(largest),
        advice=advice,
        footnotes=footnotes.titles(),
        cautions=(*reference.cautions("adjust"), *reference.cautions("count"), *reference.cautions("fire")),
        cleaning=cleaned(field_map, words),
        notes=field_map.notes,
        inputs=list(field_map.inputs.items()),
        settings=changed(field_map.settings),
        version=version(),
    )


def _facts(field_map: FieldMap, words: Words) -> list[tuple[str, str]]:
    """What the field's owner wrote down, those that were given."""
    facts = field_map.field.facts
    given = [
        ("machine", facts.machine),
        ("header", facts.header),
        ("header width", words.length.text(facts.header_width)),
        ("residue spread over", words.length.text(field_map.field.discharge_width_m)),
        ("variety", facts.variety),
        ("row spacing", facts.row_spacing),
        ("population", facts.population),
        ("operator", facts.operator),
    ]
    return [(name, text) for name, text in given if text]


def _drivers(field_map: FieldMap, words: Words) -> list[dict[str, Any]]:
    """Each driver's verdict and its drawing."""
    price = price_of(field_map)
    return [
        {
            "name": name,
            "word": driver_word(name),
            "head": driver(found, words, price)[0],
            "text": driver(found, words, price)[1],
            "drawing": drawing_of_driver(field_map, found, words),
        }
        for name, found in field_map.drivers.items()
    ]


def _advice(source: str, field_map: FieldMap, words: Words, footnotes: Footnotes) -> dict[str, Any]:
    """What to look at for one source: today's list and next season's."""
    tracked = [
        name
        for name, found in field_map.drivers.items()
        if found.verdict == "tracks" and (name != "speed" or slower_pays(field_map.pace))  # nobody is sent slower where that costs
    ]
    rows = reference.advice(source, field_map.field.crop.name, tracked)
    return {
        "source": f"{source} loss",
        "where": SOURCE_WORDS[source],
        **footnotes.advice(rows, words),
    }
