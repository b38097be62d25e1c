"""report.html: what was found, in plain words, with its doubt, for reading and for paper.

Written by a template that escapes; text from files only ever goes in as values. The page
runs no script and asks for nothing.
"""

from __future__ import annotations

from typing import Any

import markupsafe

from lossmap.base import reference
from lossmap.base.field import FieldMap
from lossmap.base.reference import Advice
from lossmap.report.cleaned import cleaned
from lossmap.report.drawings import drawing_of_driver, drawing_of_sources
from lossmap.report.numbers import doubt_line, flat_line, headline, loss_rows, money_line, seeds_line, subtitle, words_of
from lossmap.report.rows import zone_rows
from lossmap.report.run_file import changed, version
from lossmap.report.sentences import SOURCE_WORDS, after_largest, driver, driver_word, first_step, largest_sources
from lossmap.report.templates import asset, filled
from lossmap.report.words import Words, count_of

__all__ = ["page"]

POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def page(field_map: FieldMap) -> str:
    """The content of report.html: same field, same bytes.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    words = words_of(field_map)
    largest = largest_sources(field_map.loss)
    return filled(
        "report.html.j2",
        policy=POLICY,
        styles=markupsafe.Markup(asset("page.css") + asset("report.css")),
        title=field_map.field.facts.name,
        subtitle=subtitle(field_map, words),
        facts=_facts(field_map, words),
        headline=headline(field_map, words),
        doubt=doubt_line(),
        rows=loss_rows(field_map, words),
        sources_drawing=drawing_of_sources(field_map, words),
        harvest=words.harvest.text(field_map.yield_kg_ha),
        stops=count_of(len(field_map.losses), "stop"),
        seeds=seeds_line(field_map, words),
        money=money_line(field_map, words),
        flat=flat_line(field_map),
        drivers=_drivers(field_map, words),
        zones=zone_rows(field_map, words),
        first=first_step(field_map.drivers, words),
        largest=after_largest(largest),
        advice=[_advice(source, field_map) for source in largest],
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
    return [
        {
            "name": name,
            "word": driver_word(name),
            "head": driver(found, words)[0],
            "text": driver(found, words)[1],
            "drawing": drawing_of_driver(field_map, found, words),
        }
        for name, found in field_map.drivers.items()
    ]


def _advice(source: str, field_map: FieldMap) -> dict[str, Any]:
    """What to look at for one source: today's list and next season's."""
    rows = reference.advice(source, field_map.field.crop.name)
    return {
        "source": f"{source} loss",
        "where": SOURCE_WORDS[source],
        "now": [_one(row) for row in rows if row.when == "now"],
        "later": [_one(row) for row in rows if row.when != "now"],
    }


def _one(row: Advice) -> dict[str, Any]:
    titles = reference.sources()
    later = "Next season:"
    text = row.look_at.removeprefix(later).strip() if row.when != "now" else row.look_at
    return {"look_at": text[:1].upper() + text[1:], "but": row.but, "titles": [titles[key] for key in row.keys]}
