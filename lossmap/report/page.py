"""report.html: what was found, in plain words, with its doubt, for reading and for paper.

Written by a template that escapes; text from files only ever goes in as values. The page
runs no script and asks for nothing.
"""

from __future__ import annotations

from typing import Any

import markupsafe

from lossmap.base import reference
from lossmap.base.estimates import Delay
from lossmap.base.field import FieldMap
from lossmap.base.reference import Advice
from lossmap.report.drawings import drawing_of_driver, drawing_of_sources
from lossmap.report.numbers import doubt_line, flat_line, headline, loss_rows, money_line, seeds_line, subtitle, words_of
from lossmap.report.rows import zone_rows
from lossmap.report.run_file import changed, version
from lossmap.report.sentences import SOURCE_WORDS, after_largest, driver, driver_word, largest_sources
from lossmap.report.templates import asset, filled
from lossmap.report.words import NOT_KNOWN, Scale, Words, count_of, plain

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
        largest=after_largest(largest),
        advice=[_advice(source, field_map) for source in largest],
        cautions=(*reference.cautions("adjust"), *reference.cautions("count"), *reference.cautions("fire")),
        cleaning=_cleaning(field_map, words),
        notes=(*field_map.notes, *field_map.cleaning.notes),
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


def _cleaning(field_map: FieldMap, words: Words) -> dict[str, Any]:
    """What was set aside, and what it did to the yields."""
    found = field_map.cleaning
    kept = [(reason, f"{number:,}", _share(number, found.read)) for reason, number in found.flags.items()]
    return {
        "read": f"{found.read:,}",
        "kept": f"{found.kept:,}",
        "kept_share": _share(found.kept, found.read),
        "flags": kept,
        "yields": _yields(found.before, found.after, words.harvest),
        "areas": [(name, words.area.text(area)) for name, area in (("as logged", found.logged_ha), ("freshly cut", found.fresh_ha))],
        "delays": [(name, _delay(delay, words)) for name, delay in (("flow", found.flow_delay), ("moisture", found.moisture_delay))],
    }


def _share(number: int, of: int) -> str:
    return f"{plain(100 * number / of, 1)} %" if of else NOT_KNOWN


_MOMENTS = (("mean", "mean"), ("median", "middle value"), ("sd", "spread (standard deviation)"))


def _yields(before: Any, after: Any, harvest: Scale) -> list[tuple[str, str, str]]:
    """Yield of all and of kept points, row by row."""
    rows = [(said, harvest.text(before[name]), harvest.text(after[name])) for name, said in _MOMENTS if name in before and name in after]
    if "cv_pct" in before and "cv_pct" in after:
        rows.append(("spread over mean", f"{before['cv_pct']:.1f} %", f"{after['cv_pct']:.1f} %"))
    if "skewness" in before and "skewness" in after:
        rows.append(("skewness (no unit)", f"{before['skewness']:.2f}", f"{after['skewness']:.2f}"))
    return rows


def _delay(delay: Delay, words: Words) -> str:
    if delay.seconds != delay.seconds:
        return " ".join(part for part in (NOT_KNOWN, f"({delay.note})" if delay.note else "") if part)
    seconds = words.seconds
    doubt = f" ({plain(delay.low, 1)} to {plain(delay.high, 1)})" if delay.low == delay.low else ""
    done = "shifted back by that" if delay.applied else "not shifted"
    return f"{plain(delay.seconds, 1)} {seconds.unit}{doubt}, {done}{'; ' + delay.note if delay.note else ''}"
