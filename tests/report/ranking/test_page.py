"""ranking.html: its facts, and that no text of a file becomes markup."""

from __future__ import annotations

import dataclasses
import html
import re

from drydown.made_farms import ranked

from lossmap.report.ranking.page import MOST_CURVES, ranking_page

EVIL = "<script>alert(1)</script>\"'{{ 7*7 }}"


def seen(page):
    """The text a reader sees."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL))))


def test_the_page_has_its_parts_in_order():
    """Headline, order, table, reasons, curves, worth, cautions; every field in each."""
    ranking = ranked()
    page = ranking_page(ranking, ["Cut since 24 Sep: Other."])
    heads = re.findall(r"<h2[^>]*>(.*?)</h2>", page)
    assert heads == [
        "What changed since the last plan",
        "The order",
        "What waiting costs, field by field",
        "Why",
        "Cost of cutting on another day than the best",
        "What the order is worth",
        "Before you follow it",
        "Where the figures come from",
    ]
    text = seen(page)
    for of in ranking.fields:
        assert text.count(of.field.name) >= 4
    assert "Cut since 24 Sep: Other." in text
    assert "Extinguishers" in text.title()
    assert "What changed" not in ranking_page(ranking)


def test_the_page_asks_for_nothing():
    """No script, no address of the network, the strictest policy."""
    page = ranking_page(ranked())
    assert "default-src 'none'" in page.replace("&#39;", "'")
    assert "<script" not in page
    assert "http" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL).replace("http-equiv", "")


def test_names_are_text():
    """A name full of markup is shown as it is, everywhere."""
    ranking = ranked()
    first = dataclasses.replace(ranking.fields[0], field=dataclasses.replace(ranking.fields[0].field, name=EVIL))
    page = ranking_page(
        dataclasses.replace(ranking, fields=(first, *ranking.fields[1:]), farm=dataclasses.replace(ranking.farm, name=EVIL))
    )
    assert "<script" not in page
    assert "49" not in re.findall(r"<h1>(.*?)</h1>", page)[0]
    assert EVIL in seen(page)


def test_a_stale_reading_gets_no_date():
    """Beyond ten days the page says measure first, and draws no bar."""
    ranking = ranked()
    first = dataclasses.replace(ranking.fields[0], reading_age_days=12)
    page = ranking_page(dataclasses.replace(ranking, fields=(first, *ranking.fields[1:])))
    assert page.count("measure first") == 1
    assert page.count('class="day"') == len(ranking.fields) - 1


def test_bars_lie_on_the_strip():
    """Every bar and line lies between 0 and 100 % of the strip."""
    for left, width in re.findall(r"left:([\d.]+)%;width:([\d.]+)%", ranking_page(ranked(fields=12, rng_seed=3))):
        assert 0 <= float(left) <= 100
        assert float(left) + float(width) <= 101


def test_hundreds_of_fields_have_two_dozen_drawings():
    """A page of hundreds is not read: the rest is said to be in the table of files."""
    ranking = ranked(fields=12, rng_seed=3)
    many = tuple(dataclasses.replace(ranking.fields[number % 12], rank=number + 1) for number in range(60))
    page = ranking_page(dataclasses.replace(ranking, fields=many))
    assert page.count("<polyline") == MOST_CURVES
    assert "36 more stand in ranking.csv" in seen(page)
    assert len(page) < 400_000


def test_same_plan_same_bytes():
    """Nothing of the clock is on the page."""
    assert ranking_page(ranked()) == ranking_page(ranked())


def test_a_rival_that_is_more_often_best_is_named():
    """The order goes by money in the mean; where another field is more often the best to begin with, the page says so."""
    ranking = ranked()
    chances = (0.2, 0.5, 0.3, 0.0, 0.0, 0.0)
    fields = tuple(dataclasses.replace(of, first_chance=chance) for of, chance in zip(ranking.fields, chances, strict=True))
    second = fields[1]
    text = seen(ranking_page(dataclasses.replace(ranking, fields=fields)))
    assert f"the best field to begin with, {second.field.name} in 50; but over all seasons beginning here costs least." in text
    sure = dataclasses.replace(ranking.fields[0], first_chance=0.9)
    assert "In 90 of 100 seasons that may come it is the best field to begin with." in seen(
        ranking_page(dataclasses.replace(ranking, fields=(sure, *ranking.fields[1:])))
    )


def test_how_near_the_best_is_said_where_it_was_proven():
    """A proof's bound in money; nothing is claimed where none was asked for."""
    ranking = ranked()
    assert "proven" not in ranking_page(ranking)
    assert "within 12 USD of the best there is, moves left out" in seen(ranking_page(dataclasses.replace(ranking, proof_usd=12.4)))
