"""The pages in a real browser: what people see, tap, and print."""

from __future__ import annotations

import base64
import dataclasses
import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely
from drydown.made_farms import ranked
from PIL import Image

from lossmap.base.field import FieldMap
from lossmap.report.map.layers import layers_of
from lossmap.report.map.webmap import webmap
from lossmap.report.numbers import words_of
from lossmap.report.page import page
from lossmap.report.projection import web_place
from lossmap.report.ranking.page import ranking_page

pytestmark = pytest.mark.browser

LAYERS = ("loss", "sure", "yield", "moisture", "speed", "points")
DESK, PHONE, NARROW = (1280, 800), (390, 844), (320, 700)


@pytest.fixture(scope="module")
def pages(field_map: FieldMap, hostile_map: FieldMap, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Both pages of the made field, of the hostile one, and a map whose loss is one field mean."""
    loss = field_map.surfaces["loss_kg_ha"]
    flat = {
        part: np.where(np.isfinite(loss.mean), value, np.nan).astype(np.float32)
        for part, value in (("mean", 118), ("low", 88), ("high", 151))
    }
    mean_only = dataclasses.replace(
        field_map, surfaces={**field_map.surfaces, "loss_kg_ha": dataclasses.replace(loss, **flat, note="fewer than 30 seeds")}
    )
    folder = tmp_path_factory.mktemp("pages")
    content: dict[str, str] = {
        "map": webmap(field_map),
        "report": page(field_map),
        "hostile-map": webmap(hostile_map),
        "hostile-report": page(hostile_map),
        "flat-map": webmap(mean_only),
    }
    for name, text in content.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in content}


def show(browser: Any, key: str) -> None:
    """Choose a layer as a person does, and wait for it."""
    browser.run("document.querySelector(`input[name=layer][value=${arguments[0]}]`).click()", key)
    browser.until(f"document.querySelector('.key:not([hidden])').dataset.layer === '{key}'")
    if key == "points":
        browser.until("document.querySelector('.leaflet-tile-pane canvas')")
    else:
        browser.until(f"fieldPage.map.hasLayer(window.image_overlay_{key})")


def bare(browser: Any) -> None:
    """Take everything off the pictures, so that pixels are the picture's."""
    browser.run("document.querySelectorAll('input[name=over]:checked').forEach(box => box.click())")
    browser.run("document.querySelector('.leaflet-control-container').style.display = 'none'")


def on_screen(browser: Any, field_map: FieldMap, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Where places of the field lie in the window, by the projection library and not by the page's polynomial."""
    lon, lat = pyproj.Transformer.from_crs(field_map.crs, 4326, always_xy=True).transform(easting, northing)
    spots = browser.run(
        "const box = document.getElementById('map_field').getBoundingClientRect();"
        "return arguments[0].map(([lat, lon]) => { const p = fieldPage.map.latLngToContainerPoint([lat, lon]);"
        "return [p.x + box.left + document.getElementById('map_field').clientLeft, p.y + box.top]; })",
        np.column_stack([lat, lon]).tolist(),
    )
    return np.array(spots)


def test_it_asks_for_nothing_and_complains_of_nothing(browser: Any, pages: dict[str, Path]) -> None:
    """Opening, every layer and overlay, close zoom, a popup, every tool, every fold: no request, no breach of policy, no console line."""
    browser.size(*DESK)
    browser.open(pages["map"])
    for key in LAYERS:
        show(browser, key)
    browser.run("document.querySelectorAll('input[name=over]').forEach(box => { box.click(); box.click(); })")
    browser.run("document.querySelector('input[value=flagged]').click()")
    browser.run("fieldPage.map.setZoom(19, {animate: false}); document.querySelector('[data-zone]').click()")
    browser.run("geo_json_stops.eachLayer(layer => layer.fire('click', {latlng: layer.getLatLng()}))")
    browser.run("window.print = () => 0; document.querySelectorAll('.tools button').forEach(button => { button.click(); button.click(); })")
    browser.run("document.querySelectorAll('summary').forEach(part => part.click())")
    browser.tap(900, 300)
    assert browser.complaints() == []
    assert browser.requests() == [pages["map"].as_uri()]


def test_the_report_asks_for_nothing_either(browser: Any, pages: dict[str, Path]) -> None:
    """One file, no request, no console line."""
    browser.open(pages["report"], wait="true")
    assert browser.complaints() == []
    assert browser.requests() == [pages["report"].as_uri()]


def test_colour_on_screen_is_the_class_of_the_value(browser: Any, pages: dict[str, Path], field_map: FieldMap) -> None:
    """Truth: at 25 cells of every layer the pixel has the colour of the class of the surface's own value."""
    browser.size(*DESK)
    browser.open(pages["map"])
    bare(browser)
    drawn = layers_of(field_map, web_place(field_map.outline, field_map.crs), words_of(field_map))
    assert drawn is not None
    cells = field_map.cells[shapely.contains(shapely.buffer(field_map.outline, -15), field_map.cells.geometry)].sample(25, random_state=4)
    spots = on_screen(browser, field_map, cells.geometry.x.to_numpy(), cells.geometry.y.to_numpy())
    for layer in drawn.layers:
        show(browser, layer.key)
        seen = browser.pixels()[spots[:, 1].astype(int), spots[:, 0].astype(int)]
        values = layer.steps.values()[cells["row"], cells["col"]] * layer.scale.factor
        wanted = [list(bytes.fromhex(layer.classes.colours[one][1:])) for one in layer.classes.of(values)]
        assert seen.tolist() == wanted, layer.key


def test_a_tap_reads_the_surfaces_value_with_its_interval(browser: Any, pages: dict[str, Path], field_map: FieldMap) -> None:
    """Truth: five taps, each within the rounding of what is shown; loss with its bounds; the stop's distance."""
    browser.size(*DESK)
    browser.open(pages["map"])
    words = words_of(field_map)
    inner = shapely.buffer(field_map.outline, -15)
    cells = field_map.cells[shapely.contains(inner, field_map.cells.geometry)].sample(5, random_state=9)
    spots = on_screen(browser, field_map, cells.geometry.x.to_numpy(), cells.geometry.y.to_numpy())
    browser.run("document.querySelectorAll('input[name=over]:checked').forEach(box => box.click())")
    for (x, y), cell in zip(spots, cells.to_dict("records"), strict=True):
        browser.run("document.getElementById('reading').textContent = ''")
        browser.tap(x, y)
        browser.until("document.getElementById('reading').textContent.includes('Nearest stop')")
        said = browser.run("return document.getElementById('reading').textContent")
        numbers = re.search(
            r"loss ([\d.]+) bu/ac \(9 times in 10 between ([\d.]+) and ([\d.]+)\), "
            r"yield (\d+) bu/ac, moisture ([\d.]+) %, speed ([\d.]+) mph",
            said,
        )
        assert numbers, said
        loss = [cell[name] * words.loss.factor for name in ("loss_kg_ha", "loss_low_kg_ha", "loss_high_kg_ha")]
        wanted = [*loss, cell["yield_kg_ha"] * words.harvest.factor, cell["moisture_pct"], cell["speed_m_s"] * words.speed.factor]
        assert [float(text) for text in numbers.groups()] == pytest.approx(wanted, abs=0.06, rel=0.006)
        away = field_map.losses.distance(cell["geometry"]).min() * words.length.factor
        found = re.search(r"Nearest stop \(S\d+\) ([\d,]+) ft away", said)
        assert found, said
        assert float(found[1].replace(",", "")) == pytest.approx(away, abs=12)


def test_points_stand_where_they_were_logged(browser: Any, pages: dict[str, Path], field_map: FieldMap) -> None:
    """Truth: close up, ten believed points have the colour of their yield's class; a tap tells the yield."""
    browser.size(*DESK)
    browser.open(pages["map"])
    bare(browser)
    show(browser, "points")
    points = field_map.points
    kept = points[(points["flag"] == "") & points["yield_kg_ha"].notna()]
    middle = shapely.box(431_250, 4_640_150, 431_310, 4_640_190)
    near = kept[shapely.contains(middle, kept.geometry)].iloc[:10]
    browser.run("const b = geo_json_edge.getBounds().getCenter(); fieldPage.map.setZoom(19, {animate: false})")
    lon, lat = pyproj.Transformer.from_crs(field_map.crs, 4326, always_xy=True).transform(431_280, 4_640_170)
    browser.run("fieldPage.map.setView([arguments[0], arguments[1]], 19, {animate: false})", lat, lon)
    browser.until("document.querySelector('.leaflet-tile-pane canvas').width > 0")
    spots = on_screen(browser, field_map, near.geometry.x.to_numpy(), near.geometry.y.to_numpy())
    seen = browser.pixels()[np.round(spots[:, 1]).astype(int), np.round(spots[:, 0]).astype(int)]
    drawn = layers_of(field_map, web_place(field_map.outline, field_map.crs), words_of(field_map))
    assert drawn is not None
    layer = next(layer for layer in drawn.layers if layer.key == "yield")
    shown = near["yield_kg_ha"].to_numpy() * layer.scale.factor
    # a value within a step of an edge may be classed on either side of it
    far = np.abs(shown[:, None] - np.array(layer.classes.edges)).min(axis=1) > 0.5
    wanted = np.array([list(bytes.fromhex(layer.classes.colours[one][1:])) for one in layer.classes.of(shown)])
    assert far.sum() >= 5
    assert seen[far].tolist() == wanted[far].tolist()
    browser.tap(*spots[0])
    browser.until("document.getElementById('reading').textContent.includes('Point here: yield')")
    said = browser.run("return document.getElementById('reading').textContent")
    assert float(re.search(r"Point here: yield (\d+) bu/ac", said)[1]) == pytest.approx(shown[0], abs=1.0)


def test_the_key_follows_the_layer(browser: Any, pages: dict[str, Path]) -> None:
    """One key at a time, with its unit."""
    browser.size(*DESK)
    browser.open(pages["map"])
    titles = {}
    for key in LAYERS:
        show(browser, key)
        visible = browser.run(
            "return [...document.querySelectorAll('.key')].filter(key => key.offsetHeight).map(key => key.innerText.split('\\n')[0])"
        )
        assert len(visible) == 1
        titles[key] = visible[0]
    assert titles == {
        "loss": "Loss, bu/ac",
        "sure": "How sure: give or take, bu/ac",
        "yield": "Yield, bu/ac",
        "moisture": "Moisture, %",
        "speed": "Speed, mph",
        "points": "Points as logged, flagged ones left out: yield, bu/ac",
    }


@pytest.mark.parametrize(("width", "height"), [DESK, PHONE])
def test_map_key_and_reading_are_in_sight_together(browser: Any, pages: dict[str, Path], width: int, height: int) -> None:
    """A tap is answered, and a colour explained, without scrolling."""
    browser.size(width, height, touch=width < 500)
    browser.open(pages["map"])
    bottoms = (
        "return ['#map_field', '.key:not([hidden])', '#reading'].map(one => document.querySelector(one).getBoundingClientRect().bottom)"
    )
    below = browser.run(bottoms)
    assert below == sorted(below)
    assert below[-1] <= height


def test_a_field_mean_is_shown_as_one(browser: Any, pages: dict[str, Path]) -> None:
    """The page says so above the map, and the key has one box and one value."""
    browser.size(*PHONE, touch=True)
    browser.open(pages["flat-map"])
    assert browser.run("return document.querySelector('.flat').innerText").startswith("Field mean only: with 12 stops")
    assert browser.run("return document.querySelector('.key:not([hidden])').innerText").split("\n")[::2] == [
        "Loss, bu/ac",
        "1.9 bu/ac everywhere",
    ]
    assert browser.run("return document.querySelectorAll('.key:not([hidden]) .boxes span').length") == 1


@pytest.mark.parametrize("name", ["map", "report", "hostile-map", "hostile-report"])
def test_no_sideways_scroll_on_the_narrowest_phone(browser: Any, pages: dict[str, Path], name: str) -> None:
    """320 pixels wide, with every part opened."""
    browser.size(*NARROW, touch=True)
    browser.open(pages[name], wait="true" if "report" in name else "document.documentElement.dataset.ready === 'yes'")
    browser.run("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    assert browser.run("return document.documentElement.scrollWidth") == 320
    assert browser.run("return innerWidth") == 320


def test_everything_to_press_is_big_enough_for_a_thumb(browser: Any, pages: dict[str, Path]) -> None:
    """44 pixels both ways, on a phone."""
    browser.size(*PHONE, touch=True)
    browser.open(pages["map"])
    small = browser.run(
        "return [...document.querySelectorAll('.pick, button, .leaflet-bar a, summary')]"
        ".filter(part => part.offsetHeight && (part.offsetHeight < 44 || part.offsetWidth < 44)).map(part => part.outerHTML)"
    )
    assert small == []


def test_it_says_its_piece_without_scripts(browser: Any, pages: dict[str, Path]) -> None:
    """As a phone's file preview shows it: the still map with its colours, key, numbers and zones; no dead button."""
    browser.size(*PHONE, touch=True)
    with browser.without_scripts():
        browser.open(pages["map"], wait="true")
        text = browser.run("return document.body.innerText")
        assert browser.run("return document.querySelector('.still svg').getBoundingClientRect().width") > 300
        assert browser.run("return document.getElementById('map_field').offsetHeight") == 0
        assert browser.run("return [...document.querySelectorAll('.only-live')].filter(part => part.offsetHeight).length") == 0
        pixels = browser.pixels().reshape(-1, 3)
    for fact in ("1.9 bu/ac", "Loss tracks ground speed.", "A: faster", "Loss, bu/ac", "We do not know"):
        assert fact in text
    for colour in ("#ffefd0", "#e13a26", "#780120"):
        assert (pixels == list(bytes.fromhex(colour[1:]))).all(axis=1).sum() > 200


@pytest.mark.parametrize("name", ["hostile-map", "hostile-report"])
def test_hostile_text_shows_letter_for_letter_and_nothing_runs(browser: Any, pages: dict[str, Path], hostile: str, name: str) -> None:
    """In the title, the head, notes and a stop's popup."""
    browser.size(*DESK)
    browser.open(pages[name], wait="true" if "report" in name else "document.documentElement.dataset.ready === 'yes'")
    assert browser.run("return document.querySelector('h1').textContent") == hostile
    assert browser.run("return document.title").startswith(hostile)
    assert hostile in browser.run("return [...document.querySelectorAll('li')].map(item => item.textContent)")
    if name == "hostile-map":
        browser.run("let n = 0; geo_json_stops.eachLayer(layer => { if (!n++) layer.fire('click', {latlng: layer.getLatLng()}); })")
        lines = browser.run("return [...document.querySelectorAll('.leaflet-popup-content p')].map(line => line.textContent)")
        assert lines[0] == f"Stop {hostile}0"
        read = browser.run("return document.getElementById('reading').textContent")
        assert read.startswith(f"Stop {hostile}0: loss ")
        assert read.endswith(f"Note: {hostile}")
    assert browser.run("return window.hit === undefined && document.querySelectorAll('img[src=x]').length === 0")
    assert browser.complaints() == []


def test_keys_alone_are_enough(browser: Any, pages: dict[str, Path]) -> None:
    """Arrows choose the layer; on the map a cross appears and Enter reads under it."""
    browser.size(*DESK)
    browser.open(pages["map"])
    browser.run("document.querySelector('input[name=layer]').focus()")
    browser.press("ArrowRight", 39)
    browser.until("document.querySelector('.key:not([hidden])').dataset.layer === 'sure'")
    browser.run("document.getElementById('map_field').focus()")
    browser.press("Enter", 13)
    browser.until("document.getElementById('reading').textContent.includes('Here: loss')")
    assert browser.run("return getComputedStyle(document.querySelector('.cross')).display") == "block"


def test_zone_buttons_go_there_and_say_why(browser: Any, pages: dict[str, Path]) -> None:
    """The map moves to the zone, and its sentence stands in the reading strip."""
    browser.size(*DESK)
    browser.open(pages["map"])
    browser.run("document.querySelector('[data-zone=\"1\"]').click()")
    browser.until("Math.abs(fieldPage.map.getCenter().lng + 93.82621) < 1e-4")
    assert browser.run("return document.getElementById('reading').textContent").startswith(
        "B: drier, 3.3 ac, in the north-east. Cut at 14."
    )
    browser.run("document.querySelector('[data-zone=unknown]').click()")
    assert "no stop within 250 ft" in browser.run("return document.getElementById('reading').textContent")


def test_measure_agrees_with_the_ground(browser: Any, pages: dict[str, Path], field_map: FieldMap) -> None:
    """A square of 100 m on the ground is 984 ft along three sides and 2.47 acres."""
    browser.size(*DESK)
    browser.open(pages["map"])
    browser.run("document.getElementById('measure').click()")
    corners = np.array([(431_200, 4_640_100), (431_300, 4_640_100), (431_300, 4_640_200), (431_200, 4_640_200)])
    lon, lat = pyproj.Transformer.from_crs(field_map.crs, 4326, always_xy=True).transform(*corners.T)
    for spot in zip(lat, lon, strict=True):
        browser.run("fieldPage.map.fire('click', {latlng: L.latLng(arguments[0], arguments[1])})", float(spot[0]), float(spot[1]))
    assert browser.run("return document.getElementById('reading').textContent") == "Measured: 984 ft, closed 2.47 ac."


def test_find_me_reads_where_one_stands_or_says_why_not(browser: Any, pages: dict[str, Path], field_map: FieldMap) -> None:
    """Position granted: a reading with its accuracy; refused: a sentence."""
    browser.size(*PHONE, touch=True)
    lon, lat = pyproj.Transformer.from_crs(field_map.crs, 4326, always_xy=True).transform(431_300, 4_640_200)
    browser.may_know_its_place(True)
    browser.place(lat, lon, 4)
    browser.open(pages["map"])
    browser.run("document.getElementById('find').click()")
    browser.until("document.getElementById('reading').textContent.startsWith('You, give or take 13 ft. Here: loss')")
    browser.may_know_its_place(False)
    browser.open(pages["map"])
    browser.run("document.getElementById('find').click()")
    browser.until("document.getElementById('reading').textContent.startsWith('Your place could not be found')")
    assert browser.run("return document.getElementById('find').getAttribute('aria-pressed')") == "false"


def test_an_old_browser_keeps_colours_and_key(browser: Any, pages: dict[str, Path]) -> None:
    """Without DecompressionStream the page opens, shows its pictures, and says what it cannot do."""
    browser.size(*DESK)
    with browser.before_page("delete window.DecompressionStream;"):
        browser.open(pages["map"])
        show(browser, "speed")
        assert "too old to unpack" in browser.run("return document.getElementById('reading').textContent")
        assert browser.complaints() == []


def test_it_prints_on_letter_and_on_a4(browser: Any, pages: dict[str, Path]) -> None:
    """Few sheets, the still map on them in the layer that was chosen, nothing wider than the paper."""
    browser.size(*DESK)
    for name, most in (("map", 5), ("report", 6)):
        browser.open(pages[name], wait="true" if name == "report" else "document.documentElement.dataset.ready === 'yes'")
        for paper in ((8.5, 11), (8.27, 11.69)):
            assert 2 <= browser.pages(*paper) <= most
    browser.open(pages["map"])
    show(browser, "speed")
    browser.protocol("Emulation.setEmulatedMedia", media="print")
    browser.size(700, 950)
    try:
        assert browser.run("return document.getElementById('map_field').offsetHeight") == 0
        assert browser.run("return document.documentElement.scrollWidth") <= 700
        assert browser.run("return document.getElementById('still-image').getAttribute('href') === image_overlay_speed._url")
        assert browser.run("return document.getElementById('still-title').textContent").startswith("Speed, mph")
    finally:
        browser.protocol("Emulation.setEmulatedMedia", media="")


def test_night_has_light_ink_on_dark_paper(browser: Any, pages: dict[str, Path]) -> None:
    """Contrast of text at least 7 to 1 in both modes."""
    browser.size(*DESK)
    for mode in ("light", "dark"):
        browser.protocol("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": mode}])
        browser.open(pages["report"], wait="true")
        ink, paper = (browser.run(f"return getComputedStyle(document.body).{part}") for part in ("color", "backgroundColor"))
        soft = browser.run("return getComputedStyle(document.querySelector('.soft')).color")
        assert contrast(ink, paper) > 12
        assert contrast(soft, paper) > 7
        assert (luminance(ink) > luminance(paper)) == (mode == "dark")
    browser.protocol("Emulation.setEmulatedMedia", features=[])


def luminance(colour: str) -> float:
    """Relative luminance of an "rgb(...)" (WCAG 2)."""
    parts = [int(text) / 255 for text in re.findall(r"\d+", colour)[:3]]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Contrast ratio (WCAG 2)."""
    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_eighty_thousand_points_open_and_draw(browser: Any, made: Callable[..., FieldMap], tmp_path: Path) -> None:
    """A whole log's points are on screen after one press."""
    path = tmp_path / "big.html"
    path.write_text(webmap(made((150, 174), 80_000)), encoding="utf-8")
    browser.size(*PHONE, touch=True)
    browser.open(path)
    show(browser, "points")
    browser.run("document.getElementById('map_field').scrollIntoView()")
    greens = [list(bytes.fromhex(colour)) for colour in ("f0f6b9", "b1da6c", "75b654", "2a8b38", "004321")]
    seen = browser.pixels().reshape(-1, 3)
    assert sum(int((seen == green).all(axis=1).sum()) for green in greens) > 5_000
    assert browser.complaints() == []


def test_points_on_the_screen_are_points_on_paper(browser: Any, pages: dict[str, Path]) -> None:
    """Truth: as somebody prints, the still picture becomes the points; another layer chosen, it becomes that one's again."""
    browser.size(*DESK)
    browser.open(pages["map"])
    show(browser, "points")
    href = "return document.getElementById('still-image').getAttribute('href')"
    browser.run("window.dispatchEvent(new Event('beforeprint'))")
    drawn = Image.open(io.BytesIO(base64.b64decode(browser.run(href).partition(",")[2]))).convert("RGBA")
    assert drawn.width == 1200
    ink = [(*bytes.fromhex(colour), 255) for colour in ("f0f6b9", "b1da6c", "75b654", "2a8b38", "004321")]
    assert sum(count for count, colour in drawn.getcolors(100_000) if colour in ink) > 10_000
    show(browser, "speed")
    assert browser.run(href) == browser.run("return image_overlay_speed._url")


@pytest.mark.parametrize("size", [DESK, PHONE, NARROW])
def test_the_order_of_harvest_fits_and_asks_for_nothing(browser: Any, tmp_path: Path, size: tuple[int, int]) -> None:
    """On a desk and on phones: no sideways scroll, the first field in sight, bars inside their strip, no request, no complaint."""
    file = tmp_path / "ranking.html"
    file.write_text(ranking_page(ranked(fields=12, rng_seed=3), ["Cut since 24 Sep: Other."]), encoding="utf-8")
    browser.size(*size, touch=size != DESK)
    browser.open(file, wait="true")
    assert browser.run("return [innerWidth, document.documentElement.scrollWidth]") == [size[0], size[0]]
    assert browser.run("return document.querySelector('p.big').getBoundingClientRect().bottom < window.innerHeight")
    assert browser.run(
        "return [...document.querySelectorAll('.track i')].every(bar => { const a = bar.getBoundingClientRect(), "
        "b = bar.parentElement.getBoundingClientRect(); return a.left >= b.left - 1 && a.left <= b.right; })"
    )
    assert browser.run("return document.querySelectorAll('.track .day').length") == 12
    assert browser.requests() == [file.as_uri()]
    assert browser.complaints() == []


def test_the_order_of_harvest_prints_short(browser: Any, tmp_path: Path) -> None:
    """Twelve fields on letter paper: at most six sheets."""
    file = tmp_path / "ranking.html"
    file.write_text(ranking_page(ranked(fields=12, rng_seed=3)), encoding="utf-8")
    browser.open(file, wait="true")
    assert browser.pages(8.5, 11) <= 6
