"""season.html: its facts, and that no text of a file becomes markup."""

from __future__ import annotations

import dataclasses
import html
import re
import time

import numpy as np
import pytest

from lossmap.report.season.page import FIRST_ROWS, MOST_FAILED, MOST_ROWS, season_page
from report.made_fields import HOSTILE
from report.made_seasons import made_season, with_driver, with_field

SEASON = made_season()


def seen(page):
    """The text a reader sees."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL))))


def heads(page):
    """Second-rank heads in their order."""
    return re.findall(r"<h2[^>]*>(.*?)</h2>", page)


def test_the_page_has_its_parts_in_order():
    """Where, fields, failures, sources, links, comparisons, advice, limits, what it was made with."""
    page = season_page(SEASON)
    assert heads(page) == [
        "Where the fields lie",
        "Fields, the one with most grain left first",
        "Fields without a map",
        "Where the seed was lost",
        "What speed and dryness go with, inside the fields",
        "Headers, machines and people compared",
        "What to change next season",
        "Notes and limits",
        "Sources",
        "Made with",
    ]
    text = seen(page)
    for name in SEASON.fields["name"]:
        assert name in text
    assert "2 of 16 fields have no map" in text
    assert text.count("wet-piece-1/counts.csv: has no column of seeds") == 1
    assert "made 20 Nov 2025" in text
    assert "9 fields mapped in this run, 5 taken over unchanged from an earlier one, 2 failed, 127 s of work." in text


def test_the_page_asks_for_nothing():
    """No script, no address of the network, the strictest policy."""
    page = season_page(SEASON)
    assert "default-src 'none'" in page.replace("&#39;", "'")
    assert "<script" not in page
    assert "http" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL).replace("http-equiv", "").replace(
        "http://www.w3.org/1999/xlink", ""
    ).replace("http://www.w3.org/2000/svg", "")


def test_every_field_leads_to_its_map_and_report():
    """Relative, quoted, one of each a field; failed fields lead nowhere."""
    page = season_page(with_field(SEASON, 0, field_id="north/piece #1"))
    links = re.findall(r'href="([^"#]+)"', page)
    assert len(links) == 28
    assert "./north/piece%20%231/map.html" in links
    assert "./north/piece%20%231/report.html" in links
    assert all(re.fullmatch(r"\./[\w%./-]+/(map|report)\.html", link) for link in links)
    assert not any("wet-piece" in link for link in links)


def test_rows_stand_by_grain_left():
    """Numbers run from 1, with falling weight."""
    left = dict(zip(SEASON.fields["name"], SEASON.fields["total_kg_ha"] * SEASON.fields["area_ha"], strict=True))
    names = re.findall(r'(\d+)\. <a href="[^"]+">([^<]+)</a>', season_page(SEASON))
    assert [int(number) for number, _ in names] == list(range(1, 15))
    assert (np.diff([left[name] for _, name in names]) <= 0).all()


def test_text_of_files_is_text():
    """Names, folders, levels, errors, notes and crops' companions full of markup are shown letter for letter, and nothing else is."""
    season = with_field(with_field(SEASON, 0, name=HOSTILE, field_id=HOSTILE), 14, error=HOSTILE, name=HOSTILE)
    level = dataclasses.replace(SEASON.pooled.contrasts[2], level=HOSTILE)
    pooled = dataclasses.replace(SEASON.pooled, contrasts=(level, *SEASON.pooled.contrasts[3:]), notes=(HOSTILE,))
    page = season_page(dataclasses.replace(season, name=HOSTILE, pooled=pooled))
    assert "<script" not in page
    assert "<img" not in page
    text = seen(page)
    assert text.count(HOSTILE) >= 7
    assert "{{49}}" not in text
    assert ">49<" not in page


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        ("tracks", "Within the fields, loss tracks dryness."),
        ("no sign", "Within the fields, no sign that loss tracks dryness."),
        ("not enough counts", "Not enough counts to say whether loss tracks dryness within the fields."),
    ],
)
def test_every_verdict_stands_on_top_and_in_its_part(verdict, said):
    """In short and in full; only a link that holds changes what to do."""
    text = seen(season_page(with_driver(SEASON, "dryness", verdict=verdict)))
    assert text.count(said) == 2
    assert ("Plan to cut sooner" in text) == (verdict == "tracks")
    assert "More fields make such a picture surer, not truer." in text
    assert "is caused by" not in text


def test_what_answers_a_link_comes_first_in_the_advice():
    """Slowing down heads the list where speed tracks; otherwise the table's own order."""
    page = season_page(made_season(14, 0, ("soybean",)))
    first = re.search(r"to look at from the first day of harvest on</h4>\s*<ol><li>(.*?)&#8288;", page)
    assert first[1].startswith("Slow down")
    dry = with_driver(with_driver(made_season(14, 0, ("soybean",)), "speed", verdict="no sign"), "dryness", verdict="tracks")
    first = re.search(r"to look at from the first day of harvest on</h4>\s*<ol><li>(.*?)&#8288;", season_page(dry))
    assert first[1].startswith("Loose beans on dry days")


def test_footnotes_are_numbered_as_they_are_read():
    """New numbers rise by one down the page, and each leads to its source."""
    page = season_page(SEASON)
    numbers = [int(number) for number in re.findall(r'href="#source-(\d+)"', page)]
    first = list(dict.fromkeys(numbers))
    # within one bracket numbers are sorted, so a rise may skip but never by more than are there
    assert sorted(first) == list(range(1, len(first) + 1))
    assert first[0] == 1
    assert len(re.findall(r'<li id="source-', page)) == len(first)


def test_cautions_stand_where_the_machine_is_spoken_of():
    """Operator's manual, lock, fire; also where no field has a map."""
    for season in (SEASON, made_season(0, 2)):
        text = seen(season_page(season))
        assert "operator's manual" in text
        assert "mechanical lock" in text
        assert "extinguishers" in text


def test_no_field_one_field_and_none_mapped():
    """Each is a page; what is not known is not shown as a number."""
    for season in (made_season(0, 0), made_season(0, 3)):
        text = seen(season_page(season))
        assert "How much was lost is not known" in text
        assert "Where the fields lie" not in text
        assert "bu/ac" not in text
    one = seen(season_page(made_season(1, 0, ("corn",))))
    assert "1 field mapped · 67.1 ac · corn" in one
    assert "everywhere the same: 1 field" in one


def test_failed_fields_are_named_up_to_a_limit():
    """Sixty with their reason; the rest are said to be in the table of files."""
    text = seen(season_page(made_season(2, MOST_FAILED + 5)))
    assert text.count("has no column of seeds") == MOST_FAILED
    assert "5 more stand in season.csv, each with its error." in text
    assert "1 of 3 fields has no map" in seen(season_page(made_season(2, 1)))


def test_crops_are_told_apart():
    """A headline, a drawing and advice for each; the map by share of the yield; one crop's by bushels."""
    page = season_page(SEASON)
    text = seen(page)
    assert re.search(r"Soybean: [\d.]+ bu/ac lost", text)
    assert re.search(r"Corn: [\d.]+ bu/ac lost", text)
    assert "Loss of the total yield, %" in text
    assert 'id="sources-0-caption"' in page
    assert 'id="sources-1-caption"' in page
    single = seen(season_page(made_season(14, 0, ("corn",))))
    assert "Loss of corn, bu/ac" in single
    assert "Loss of the total yield" not in single


def test_metric_has_no_acre_left():
    """One setting turns every number of the page, but for the column that gives a loss in both systems."""
    page = season_page(made_season(14, 2, ("corn",), units="metric", price="170 USD/t"))
    text = seen(re.sub(r'<(t[dh]) (?:scope="col" )?class="second">.*?</\1>', "", page))
    assert not re.search(r"\d (bu|ac|mph|lb|mi|ft)\b|bu/ac|USD/ac", text)
    for unit in ("kg/ha", "ha", "km/h", "km", "USD/ha", "t "):
        assert unit in text


def test_without_a_price_there_is_no_money():
    """No column, no sum."""
    season = dataclasses.replace(SEASON, settings=type(SEASON.settings)())
    assert "USD" not in seen(season_page(season))


def test_without_pooled_evidence_the_page_stands():
    """Nothing pooled: fields and map are there, no link and no comparison is spoken of."""
    pooled = dataclasses.replace(SEASON.pooled, drivers={}, curves={}, contrasts=(), notes=())
    page = season_page(dataclasses.replace(SEASON, pooled=pooled))
    assert "Headers, machines and people compared" not in heads(page)
    assert "What speed and dryness go with, inside the fields" not in heads(page)
    assert page.count("map.html") == 14


def test_a_field_without_loss_is_dashed_and_last():
    """On the map without a colour, in the table as not known."""
    gaps = dict.fromkeys(("total_kg_ha", "total_low_kg_ha", "total_high_kg_ha", "total_pct", "loss_usd"), np.nan)
    page = season_page(with_field(SEASON, 0, **gaps))
    assert page.count('class="land dim"') >= 1
    assert "Dashed outline: loss not known." in page
    assert re.search(r"14\. <a [^>]+>Alder bottom", page)


def test_a_thousand_fields_are_a_usable_page():
    """Under 2 MB and a few seconds; 40 rows, then up to 200 in a fold; every outline on the map."""
    season = made_season(1000, 0, spread_km=100)
    start = time.process_time()
    page = season_page(season)
    assert time.process_time() - start < 10
    assert len(page.encode()) < 2_000_000
    assert page.count("/map.html") == MOST_ROWS
    assert page.split("<details")[0].count("/map.html") == FIRST_ROWS
    assert "all 1000 stand in season.csv" in seen(page)
    assert page.split("</svg>")[0].count('<path class="land"') == 1000


def test_same_season_same_bytes():
    """Nothing of the clock is on the page but the day it was made."""
    assert season_page(SEASON) == season_page(made_season())
