"""The pages against rules: accessibility under axe-core, what may be asked of the network, what shows before and without the live map."""

from __future__ import annotations

import dataclasses
import itertools
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from drydown.made_farms import ranked

from lossmap.base.field import FieldMap
from lossmap.report.map.webmap import webmap
from lossmap.report.page import page
from lossmap.report.ranking.page import ranking_page

pytestmark = pytest.mark.browser

SIZES = {"desk": (1280, 800), "phone": (390, 844), "narrow": (320, 700)}
READY = "document.documentElement.dataset.ready === 'yes'"
HOST = "tiles.example.org"


@pytest.fixture(scope="module")
def pages(field_map: FieldMap, hostile_map: FieldMap, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Both pages of the made field and of the hostile one, and a map with a ground picture to ask for."""
    asked = {"basemap": f"https://{HOST}/{{z}}/{{x}}/{{y}}.png", "basemap_credit": "<b>made</b> pictures"}
    settings = field_map.settings.model_copy(update={"report": field_map.settings.report.model_copy(update=asked)})
    folder = tmp_path_factory.mktemp("pages")
    content = {
        "map": webmap(field_map),
        "report": page(field_map),
        "ranking": ranking_page(ranked(fields=12, rng_seed=3)),
        "hostile-map": webmap(hostile_map),
        "hostile-report": page(hostile_map),
        "ground-map": webmap(dataclasses.replace(field_map, settings=settings)),
    }
    for name, text in content.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in content}


def opened(browser: Any, path: Path) -> None:
    """Open a page and wait until it is all there."""
    browser.open(path, wait="true" if path.stem in ("report", "hostile-report", "ranking") else READY)


@pytest.mark.parametrize(
    ("name", "size", "mode"),
    [
        *((name, size, mode) for name in ("map", "report", "ranking") for size in SIZES for mode in ("light", "dark")),
        ("hostile-map", "narrow", "light"),
        ("hostile-report", "narrow", "light"),
        ("ground-map", "phone", "dark"),
    ],
)
def test_axe_finds_no_violation(browser: Any, pages: dict[str, Path], name: str, size: str, mode: str) -> None:
    """As opened, and again with every fold, a stop's popup and every overlay open."""
    browser.protocol("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": mode}])
    browser.size(*SIZES[size], touch=size != "desk")
    try:
        opened(browser, pages[name])
        assert browser.violations() == []
        browser.run("document.querySelectorAll('details').forEach(part => { part.open = true; })")
        if "map" in name:
            browser.run("document.querySelector('input[value=flagged]').click()")
            browser.run(
                "let n = 0; geo_json_stops.eachLayer(layer => { if (n++ === 3) layer.fire('click', {latlng: layer.getLatLng()}); })"
            )
            browser.until(
                "document.querySelector('.leaflet-popup') && getComputedStyle(document.querySelector('.leaflet-popup')).opacity === '1'"
            )
            browser.until("!document.querySelector('.leaflet-pan-anim')")
        assert browser.violations() == []
    finally:
        browser.protocol("Emulation.setEmulatedMedia", features=[])


def test_axe_would_see_a_fault(browser: Any, pages: dict[str, Path]) -> None:
    """A button and a field without a name, put into the page, are found: the engine does look."""
    browser.size(*SIZES["desk"])
    opened(browser, pages["report"])
    browser.run("document.querySelector('main').insertAdjacentHTML('beforeend', '<button></button><input type=text>')")
    assert {found.split(":")[0] for found in browser.violations()} >= {"button-name", "label"}


def test_a_ground_picture_is_named_first_and_asked_for_only_when_ticked(browser: Any, pages: dict[str, Path]) -> None:
    """Nothing is asked until the tick; then only the host that the page names; without an answer nothing is broken."""
    browser.size(*SIZES["desk"])
    opened(browser, pages["ground-map"])
    said = browser.run("return document.getElementById('basemap-says').innerText")
    assert said.startswith(f"Ticked, this page asks {HOST} for pictures of the ground")
    assert said.endswith("Pictures: <b>made</b> pictures.")
    browser.run("document.querySelector('input[value=speed]').click(); fieldPage.map.setZoom(17, {animate: false})")
    assert browser.requests() == [pages["ground-map"].as_uri()]
    assert browser.complaints() == []
    browser.run("document.querySelector('input[value=basemap]').click()")
    browser.until("document.querySelectorAll('.leaflet-ground-pane img').length > 3")
    browser.until("[...document.querySelectorAll('.leaflet-ground-pane img')].every(tile => tile.src.startsWith('data:'))")
    asked = browser.requests()
    assert len(asked) > 3
    assert all(url.startswith(f"https://{HOST}/17/") for url in asked)
    assert not [line for line in browser.complaints() if "Content Security Policy" in line]
    browser.run("document.querySelector('input[value=basemap]').click(); fieldPage.map.setZoom(16, {animate: false})")
    assert browser.requests() == []
    browser.run("document.querySelector('input[value=none]').click()")
    browser.until("!document.querySelector('.leaflet-tile-pane img')")


def test_no_other_page_has_a_word_of_it(browser: Any, pages: dict[str, Path]) -> None:
    """Without the setting there is no tick, and the policy names no host."""
    opened(browser, pages["map"])
    assert browser.run("return document.querySelectorAll('[value=basemap], [value=none], #basemap-says').length") == 0
    assert "https" not in browser.run("return document.querySelector('[http-equiv]').content")


def test_the_still_map_shows_until_the_live_one_stands(browser: Any, pages: dict[str, Path]) -> None:
    """First paint: with the page's start held up, the still map fills the live map's place; afterwards it is gone."""
    browser.size(*SIZES["phone"], touch=True)
    hold = "HTMLImageElement.prototype.decode = () => new Promise(done => { window.go = done; });"
    with browser.before_page(hold):
        browser.open(pages["map"], wait="window.go")
        boxes = browser.run("return ['.still', '.map-box'].map(one => document.querySelector(one).getBoundingClientRect().toJSON())")
        assert {side: boxes[0][side] for side in ("left", "right", "bottom")} == {
            side: boxes[1][side] for side in ("left", "right", "bottom")
        }
        shown = browser.pixels().reshape(-1, 3)
        assert sum(int((shown == list(bytes.fromhex(colour))).all(axis=1).sum()) for colour in ("ffefd0", "ff8336", "780120")) > 5_000
        browser.run("window.go()")
        browser.until(READY)
        assert browser.run("return document.querySelector('.still').offsetHeight") == 0


@pytest.mark.parametrize("name", ["map", "hostile-map"])
@pytest.mark.parametrize("size", ["phone", "narrow"])
def test_a_popup_lies_wholly_in_a_phones_map(browser: Any, pages: dict[str, Path], field_map: FieldMap, size: str, name: str) -> None:
    """Every stop's popup stands inside the map, clear of north mark, buttons and scale bar; the strip holds all of its numbers."""
    browser.size(*SIZES[size], touch=True)
    opened(browser, pages[name])
    for number in range(len(field_map.losses)):
        browser.run(
            "const wanted = arguments[0]; fieldPage.map.closePopup(); geo_json_stops.eachLayer(layer => {"
            "if (layer.feature.properties.i === wanted) layer.fire('click', {latlng: layer.getLatLng()}); })",
            number,
        )
        browser.until("document.querySelector('.leaflet-popup') && !document.querySelector('.leaflet-pan-anim')")
        marks = (".north", ".leaflet-control-zoom", ".leaflet-control-scale")
        popup, box, *others = (
            browser.run("return document.querySelector(arguments[0]).getBoundingClientRect().toJSON()", one)
            for one in (".leaflet-popup-content-wrapper", "#map_field", *marks)
        )
        assert box["top"] <= popup["top"]
        assert box["left"] <= popup["left"]
        assert popup["bottom"] <= box["bottom"]
        assert popup["right"] <= box["right"]
        assert [mark for mark, other in zip(marks, others, strict=True) if overlap(popup, other)] == []
        assert browser.run(
            "const part = document.querySelector('.leaflet-popup-content');"
            "return part.scrollWidth <= part.clientWidth && part.scrollHeight <= part.clientHeight"
        )
        said = browser.run("return document.getElementById('reading').textContent")
        assert re.search(r": loss [\d.]+ bu/ac .* Counted: 3 in front of the header, .* on 10 sq ft", said), said


def test_numbers_of_stops_hide_neither_letters_nor_each_other(browser: Any, pages: dict[str, Path]) -> None:
    """Close in, some stops show their number and no two of what is written share ground; far out there are dots only."""
    browser.size(*SIZES["desk"])
    opened(browser, pages["map"])
    shown = "return [...document.querySelectorAll('.stop-number, .letter')].map(one => one.getBoundingClientRect().toJSON())"
    for zoom in (17, 19):
        browser.run("fieldPage.map.setZoom(arguments[0], {animate: false})", zoom)
        boxes = browser.run(shown)
        assert len(boxes) > 5
        # a marker stands on a whole pixel: what shares less than one shares nothing
        assert not [1 for a, b in itertools.combinations(boxes, 2) if overlap({**a, "right": a["right"] - 1, "bottom": a["bottom"] - 1}, b)]
    browser.run("fieldPage.map.setZoom(15, {animate: false})")
    assert browser.run("return document.querySelectorAll('.stop-number').length") == 0


@pytest.mark.parametrize("name", ["report", "hostile-report"])
def test_no_table_of_the_report_hides_anything_on_a_phone(browser: Any, pages: dict[str, Path], name: str) -> None:
    """At every width from 320 to 1,000 pixels the loss table shows all its figures, each under its name, with nothing beyond its box."""
    for width in (320, 390, 480, 600, 721, 760, 1000):
        browser.size(width, 800, touch=width < 500)
        opened(browser, pages[name])
        browser.run("document.querySelectorAll('details').forEach(part => { part.open = true; })")
        assert browser.run("return [...document.querySelectorAll('.wide')].filter(box => box.scrollWidth > box.clientWidth).length") == 0, (
            width
        )
        cells = browser.run(
            "return [...document.querySelectorAll('.stack tr.sum td')].map(cell => [cell.offsetHeight > 0, cell.innerText])"
        )
        assert [text for shown, text in cells if shown and text] == [
            "1.9 bu/ac (1.4 to 2.4)",
            "118 kg/ha (88 to 151)",
            "1.1 % (0.8 to 1.4)",
            "7.90 USD/ac (5.89 to 10.10)",
        ]
    browser.size(*SIZES["phone"], touch=True)
    heads = browser.run("return [...document.querySelectorAll('.stack tr.sum td')].map(cell => getComputedStyle(cell, '::before').content)")
    assert heads == ['"on the ground"', '"in kg/ha"', '"of the yield"', '"money"']


def overlap(one: dict[str, float], other: dict[str, float]) -> bool:
    """Whether two boxes share ground."""
    across = one["left"] < other["right"] and other["left"] < one["right"]
    return across and one["top"] < other["bottom"] and other["top"] < one["bottom"]


def test_the_key_says_between_what_its_layer_lies(browser: Any, pages: dict[str, Path], field_map: FieldMap) -> None:
    """Truth: least and most of the surface beside the title, with the unit."""
    browser.size(*SIZES["desk"])
    opened(browser, pages["map"])
    speeds = field_map.surfaces["speed_m_s"].mean * 2.2369363
    browser.run("document.querySelector('input[value=speed]').click()")
    browser.until("document.querySelector('.key:not([hidden])').dataset.layer === 'speed'")
    said = browser.run("return document.querySelector('.key:not([hidden]) .key-head').innerText").split()
    assert said[:2] + said[2::2] == ["Speed,", "mph", "from", "to", "mph"]
    assert [float(said[3]), float(said[5])] == pytest.approx([np.nanmin(speeds), np.nanmax(speeds)], abs=0.06)
