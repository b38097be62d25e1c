"""The season's page in a real browser: what people see, follow and print."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from lossmap.base.season import Season
from lossmap.report import write_season
from report.made_seasons import made_season, with_field

pytestmark = pytest.mark.browser

SIZES = {"desk": (1280, 800), "tablet": (740, 1000), "phone": (390, 844), "narrow": (320, 700)}


@pytest.fixture(scope="module")
def pages(hostile: str, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Seasons of two crops, of hundreds of fields, of failures alone, and of hostile texts, each in a folder with its fields' pages."""
    folder = tmp_path_factory.mktemp("seasons")
    seasons = {"two": made_season(), "many": made_season(300, 3, spread_km=60), "none": made_season(0, 2), "hostile": made_hostile(hostile)}
    for name, season in seasons.items():
        (folder / name).mkdir()
        write_season(season, folder / name)
    for field_id in seasons["two"].fields["field_id"][:14]:
        (folder / "two" / field_id).mkdir(parents=True)
        for file in ("map.html", "report.html"):
            (folder / "two" / field_id / file).write_text(f"<!DOCTYPE html><title>{file}</title>", encoding="utf-8")
    return {name: folder / name / "season.html" for name in seasons}


def made_hostile(hostile: str) -> Season:
    """Markup, template code and formulas wherever text can come from a file."""
    season = made_season()
    for number in (0, 1, 14):
        season = with_field(season, number, name=f"{hostile}{number}", error=hostile if number == 14 else "")
    level = dataclasses.replace(season.pooled.contrasts[2], level=hostile)
    pooled = dataclasses.replace(season.pooled, contrasts=(level, *season.pooled.contrasts[3:]), notes=(hostile,))
    return dataclasses.replace(season, name=hostile, pooled=pooled)


def opened(browser: Any, path: Path, size: str = "desk") -> None:
    """Open the page as on that device."""
    browser.size(*SIZES[size], touch=size in ("phone", "narrow"))
    browser.open(path, wait="true")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", ["two", "many", "none", "hostile"])
def test_it_fits_asks_for_nothing_and_complains_of_nothing(browser: Any, pages: dict[str, Path], name: str, size: str) -> None:
    """No sideways scroll, every drawing inside the window, no request but the page itself, an empty console."""
    opened(browser, pages[name], size)
    browser.run("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    assert browser.run("return document.documentElement.scrollWidth <= window.innerWidth")
    assert browser.run("return [...document.querySelectorAll('svg')].every(one => one.getBoundingClientRect().right <= window.innerWidth)")
    assert browser.requests() == [pages[name].as_uri()]
    assert browser.complaints() == []


@pytest.mark.parametrize(
    ("name", "size", "mode"),
    [
        *(("two", size, mode) for size in SIZES for mode in ("light", "dark")),
        ("many", "phone", "light"),
        ("none", "desk", "light"),
        ("hostile", "narrow", "dark"),
    ],
)
def test_axe_finds_no_violation(browser: Any, pages: dict[str, Path], name: str, size: str, mode: str) -> None:
    """As opened, and with every fold open."""
    browser.protocol("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": mode}])
    try:
        opened(browser, pages[name], size)
        assert browser.violations() == []
        browser.run("document.querySelectorAll('details').forEach(part => { part.open = true; })")
        assert browser.violations() == []
    finally:
        browser.protocol("Emulation.setEmulatedMedia", features=[])


def test_every_link_leads_to_a_page_that_is_there(browser: Any, pages: dict[str, Path]) -> None:
    """Map and report of each field beside the page; marks inside the page exist; one is followed."""
    opened(browser, pages["two"])
    links = browser.run("return [...document.querySelectorAll('a')].map(one => [one.getAttribute('href'), one.href])")
    inside = [href[1:] for href, _ in links if href.startswith("#")]
    assert all(browser.run("return Boolean(document.getElementById(arguments[0]))", name) for name in inside)
    files = [pages["two"].parent / href for href, _ in links if not href.startswith("#")]
    assert len(files) == 28
    assert all(file.is_file() for file in files)
    browser.run("document.querySelector('.ranks a').click()")
    browser.until("document.title === 'map.html'")


def test_hostile_text_shows_letter_for_letter_and_nothing_runs(browser: Any, pages: dict[str, Path], hostile: str) -> None:
    """Title, names, error, level and note; no element of theirs, nothing ran, nothing asked for."""
    opened(browser, pages["hostile"])
    assert browser.run("return window.hit") is None
    assert browser.run("return document.querySelectorAll('script, img').length") == 0
    text = browser.run("return document.body.textContent")
    assert text.count(hostile) >= 7
    assert browser.run("return document.querySelector('h1').textContent").startswith(hostile)
    assert browser.complaints() == []


def test_labels_on_screen_cover_no_other(browser: Any, pages: dict[str, Path]) -> None:
    """As the browser sets them, with its own letters: no two share more than a hair, none leaves its drawing."""
    for name in ("two", "many"):
        opened(browser, pages[name])
        worst = browser.run(
            "let worst = 0, out = 0; document.querySelectorAll('.overview svg').forEach(svg => {"
            "const frame = svg.getBoundingClientRect();"
            "const boxes = [...svg.querySelectorAll('.called')].map(one => one.getBoundingClientRect());"
            "boxes.forEach((a, i) => { if (a.left < frame.left - 1 || a.right > frame.right + 1) out += 1;"
            "boxes.slice(i + 1).forEach(b => { const w = Math.min(a.right, b.right) - Math.max(a.left, b.left);"
            "const h = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);"
            "if (w > 0 && h > 0) worst = Math.max(worst, Math.min(w, h)); }); }); });"
            "return [worst, out]"
        )
        assert worst[1] == 0
        assert worst[0] < 5


def test_colours_on_screen_are_the_classes(browser: Any, pages: dict[str, Path]) -> None:
    """Truth: a field's middle has the colour of the class that its share of the yield falls into."""
    season = made_season()
    opened(browser, pages["two"])
    browser.run("document.querySelectorAll('.called').forEach(one => one.remove())")
    edges = [
        float(text)
        for text in browser.run("return [...document.querySelectorAll('.edges span:not(.first):not(.last)')].map(one => one.textContent)")
    ]
    colours = browser.run("return [...document.querySelectorAll('.boxes span')].map(one => getComputedStyle(one).backgroundColor)")
    left = (season.fields["total_kg_ha"] * season.fields["area_ha"]).iloc[:14]
    order = left.sort_values(ascending=False).index
    fills = browser.run(
        "return [...document.querySelector('.overview svg').querySelectorAll('path.land')].map(one => getComputedStyle(one).fill)"
    )
    assert len(fills) == 14
    for number, fill in zip(order, fills, strict=True):
        share = season.fields["total_pct"].loc[number]
        assert fill == colours[sum(share >= edge for edge in edges)], number


def test_it_prints_on_letter_and_on_a4(browser: Any, pages: dict[str, Path]) -> None:
    """Fourteen fields of two crops on at most ten sheets, folds open, nothing wider than the paper."""
    opened(browser, pages["two"])
    for width, height in ((8.5, 11), (8.27, 11.69)):
        assert browser.pages(width, height) <= 10
    browser.protocol("Emulation.setEmulatedMedia", media="print")
    try:
        browser.size(720, 960)
        assert browser.run("return document.documentElement.scrollWidth <= window.innerWidth")
        assert browser.run("return document.querySelector('details.printed .wide').getBoundingClientRect().height > 20")
    finally:
        browser.protocol("Emulation.setEmulatedMedia", media="")
