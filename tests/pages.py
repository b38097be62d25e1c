"""Remake the table of the map page's size, speed and colours, shared/expected/pages.md: ``python tests/pages.py`` (``make bench`` runs it).

Two made fields are mapped and their pages opened in headless Chromium, beside a page of
the same points as folium draws them by itself. Needs chromium and chromium-driver.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import os
import statistics
import sys
import tempfile
import time
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import folium
from selenium.common.exceptions import WebDriverException

import ramps
from lossmap.base.field import FieldMap
from lossmap.base.settings import Settings
from lossmap.pipelines.map_field import made_map
from lossmap.read import read_field
from lossmap.report.classes import RAMPS, classes
from lossmap.report.map import leaflet
from lossmap.report.map.webmap import webmap
from lossmap.report.numbers import words_of
from lossmap.synthetic import FieldPlan, make, write
from report.browsing import Browser

TABLE = Path(__file__).resolve().parent.parent / "shared" / "expected" / "pages.md"

SLOWDOWNS = (1, 6)
POINTS_S = 0.3
LATER_S = 2.0
MOST_S = 120.0


@dataclass(frozen=True)
class Asked:
    """A made field, and what its page may weigh [MB] and take until ready at a sixth of the speed [s]."""

    length_m: float
    breadth_m: float
    most_mb: float
    ready_s: float


FIELDS = {"80k": Asked(1640.0, 815.0, 1.0, 1.5), "318k": Asked(2900.0, 1873.0, 2.0, 3.0)}

HEAD = """# The map page: size, speed, colours

Written by `python tests/pages.py` (`make bench` runs it): {day}, load of the machine {before:.1f} to {after:.1f} on {cores} cores.
Made fields (`lossmap.synthetic`), 40 stops, cells of 5 m, five layers, zones. Headless Chromium, 390 x 844 at 3x device scale as on a
phone, from a file, no network; "6x" is the browser's own slowing down of the main thread. Medians of {runs} openings: read them as ratios.

- *first paint*, *ready*: from the start of the opening. Ready is the live map in place: first layer decoded, edge, zones and
  stops laid out, answering to taps; at full speed the browser may paint it a moment later.
- *points at once*: Points is pressed in the very moment of ready, before anything of them is unpacked; until they are on the screen.
- *points later*: the same, pressed {later:g} s after; by then the page has unpacked them in idle moments.
- *folium by itself*: a `CircleMarker` a point with `prefer_canvas`, the same points and colours, the same Leaflet inside the file, no other
  layer; its points are there when it is ready. Opened once; the larger field (150 MB so) is not asked of it.

Wanted at 6x: ready in 1.5 s (80k) and 3 s (318k), points later in 0.3 s; the file under 1 MB and 2 MB.

| page | MB | zipped | speed | first paint s | ready s | points at once s | points later s | |
|---|---|---|---|---|---|---|---|---|
"""

RAMPS_HEAD = """
## Colours

Five classes a layer. *In glare*: smallest step of lightness between neighbours with the light that the glass throws back added
({white:g} cd/m2 of screen, {veil:g} of glare); wanted 8. *Grey*: the same without colour or glare. The others: distance of the two
classes hardest to tell apart, CAM02-UCS by colorspacious; wanted 10. `pytest tests/report/test_classes.py` holds them.

| layer | colours | in glare dL* | grey dL* | deuteranopia | protanopia | tritanopia |
|---|---|---|---|---|---|---|
"""

# Notes when the page says that it is ready and, if asked, presses Points in that very moment.
PROBE = """
window.pressPoints = function () {
  const began = performance.now();
  document.querySelector('input[value=points]').click();
  (function look() {
    const canvas = document.querySelector('.leaflet-tile-pane canvas');
    if (canvas && canvas.width) requestAnimationFrame(() => setTimeout(() => { window.pointsTook = performance.now() - began; }));
    else setTimeout(look, 0);
  })();
};
new MutationObserver(() => {
  if (document.documentElement.dataset.ready !== 'yes' || window.readyAt) return;
  window.readyAt = performance.now();
  if (PRESS) window.pressPoints();
}).observe(document, {attributes: true, subtree: true, attributeFilter: ['data-ready']});
"""


@dataclass(frozen=True)
class Seconds:
    """One page at one speed, medians [s]; NaN for what it does not have."""

    paint: float
    ready: float
    at_once: float = float("nan")
    later: float = float("nan")


def main(words: list[str] | None = None) -> int:
    """Measure, print, and write the table; 1 where a line is missed."""
    asked = _asked(words)
    before = os.getloadavg()[0]
    rows = []
    with tempfile.TemporaryDirectory() as name, _browser(Path(name) / "profile") as browser:
        for title, field in FIELDS.items():
            for row in page_rows(browser, title, field, Path(name), asked.runs):
                print(row, flush=True)
                rows.append(row)
    head = HEAD.format(
        day=datetime.date.today(), before=before, after=os.getloadavg()[0], cores=os.cpu_count(), runs=asked.runs, later=LATER_S
    )
    if not asked.only_print:
        TABLE.write_text(head + "\n".join(rows) + "\n" + ramp_table(), encoding="utf-8")
    return int(any("MISSED" in row for row in rows))


def _asked(words: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--runs", type=int, default=3, help="openings of a page at a speed")
    parser.add_argument("--only-print", action="store_true", help="leave the table as it is")
    return parser.parse_args(words)


@contextlib.contextmanager
def _browser(profile: Path) -> Iterator[Browser]:
    browser = Browser(profile)
    try:
        browser.protocol("Emulation.setDeviceMetricsOverride", width=390, height=844, deviceScaleFactor=3, mobile=True)
        yield browser
    finally:
        browser.quit()


def page_rows(browser: Browser, title: str, field: Asked, folder: Path, runs: int) -> list[str]:
    """Our page at both speeds and, of the smaller field, folium's own."""
    field_map = mapped(folder / title, field)
    ours = _saved(folder / "map.html", webmap(field_map))
    what = f"{title}: {len(field_map.points):,} points, {len(field_map.cells):,} cells, {len(field_map.zones)} zones"
    rows = []
    for slowdown in SLOWDOWNS:
        found = opened(browser, ours, slowdown, runs)
        holds = ours.stat().st_size < field.most_mb * 1e6 and (slowdown == 1 or (found.ready < field.ready_s and found.later < POINTS_S))
        rows.append(_row(what, ours, slowdown, found, "holds" if holds else "MISSED"))
    if field is FIELDS["80k"]:
        other = _saved(folder / "folium.html", by_folium(field_map))
        rows += [_row(f"{title}, folium by itself", other, slowdown, opened_once(browser, other, slowdown), "") for slowdown in SLOWDOWNS]
    return rows


def mapped(folder: Path, field: Asked) -> FieldMap:
    """A made field, from its files."""
    write(make(FieldPlan(length_m=field.length_m, breadth_m=field.breadth_m, stops=40, design="spread", speed_effect=1.49), 1), folder)
    return made_map(read_field(folder), Settings(), lambda name: contextlib.nullcontext())


def _saved(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def _row(what: str, path: Path, slowdown: int, found: Seconds, holds: str) -> str:
    zipped = len(zlib.compress(path.read_bytes(), 9))
    times = [f"{one:.2f}" if one == one else "" for one in (found.paint, found.ready, found.at_once, found.later)]
    return "| " + " | ".join([what, f"{path.stat().st_size / 1e6:.2f}", f"{zipped / 1e6:.2f}", f"{slowdown}x", *times, holds]) + " |"


def opened(browser: Browser, path: Path, slowdown: int, runs: int) -> Seconds:
    """Our page: half of the openings press Points at once, half later."""
    early = [_opening(browser, path, slowdown, press=True) for _ in range(runs)]
    late = [_opening(browser, path, slowdown, press=False) for _ in range(runs)]
    paints, readies = ([one[part] for one in (*early, *late)] for part in (0, 1))
    pressed = (statistics.median(one[2] for one in part) for part in (early, late))
    return Seconds(statistics.median(paints), statistics.median(readies), *pressed)


def opened_once(browser: Browser, path: Path, slowdown: int) -> Seconds:
    """Another page, or NaN where it does not open in time."""
    try:
        _open(browser, path, slowdown, press=False)
    except (AssertionError, WebDriverException):
        return Seconds(float("nan"), float("nan"))
    return Seconds(*(browser.run(f"return {what} / 1000") for what in (_PAINT, "window.readyAt")))


_PAINT = "performance.getEntriesByType('paint')[0].startTime"


def _opening(browser: Browser, path: Path, slowdown: int, press: bool) -> tuple[float, float, float]:
    """First paint, ready, and from the press until the points are there [s]."""
    _open(browser, path, slowdown, press)
    if not press:
        time.sleep(LATER_S)
        browser.run("window.pressPoints()")
    browser.until("window.pointsTook", MOST_S)
    paint, ready, points = (browser.run(f"return {what} / 1000") for what in (_PAINT, "window.readyAt", "window.pointsTook"))
    return paint, ready, points


def _open(browser: Browser, path: Path, slowdown: int, press: bool) -> None:
    browser.protocol("Emulation.setCPUThrottlingRate", rate=slowdown)
    with browser.before_page(PROBE.replace("PRESS", str(press).lower())):
        browser.open(path, wait="window.readyAt && performance.getEntriesByType('paint').length", seconds=MOST_S)


def by_folium(field_map: FieldMap) -> str:
    """The same points as folium draws them, one object each, with the files it would fetch inside."""
    words = words_of(field_map)
    points = field_map.points[field_map.points["flag"] == ""].dropna(subset="yield_kg_ha").to_crs("EPSG:4326")
    harvest = points["yield_kg_ha"].to_numpy(float)
    found = classes(harvest, words.harvest, "yield")
    chart = folium.Map(location=[points.geometry.y.mean(), points.geometry.x.mean()], zoom_start=15, tiles=None, prefer_canvas=True)
    chart.default_js, chart.default_css = [], []
    kinds = found.of(harvest * words.harvest.factor)
    for lon, lat, kind in zip(points.geometry.x.round(7), points.geometry.y.round(7), kinds, strict=True):
        folium.CircleMarker([lat, lon], radius=2, stroke=False, fill=True, fill_color=found.colours[kind], fill_opacity=1).add_to(chart)
    text = chart.get_root().render()
    ready = "requestAnimationFrame(() => setTimeout(() => { document.documentElement.dataset.ready = 'yes'; }));"
    own = f"<style>{leaflet.style()}</style><script>{leaflet.script()}</script>"
    return text.replace("<head>", f"<head>{own}", 1).replace("</html>", f"<script>{ready}</script></html>")


def ramp_table() -> str:
    """The colours' distances as Markdown."""
    rows = []
    for layer, ramp in RAMPS.items():
        measured = [
            ramps.step_in_glare(ramp),
            ramps.step_in_grey(ramp),
            *(ramps.worst_pair(ramp, blindness) for blindness in ramps.BLINDNESS),
        ]
        rows.append("| " + " | ".join([layer, " ".join(ramp), *(f"{one:.1f}" for one in measured)]) + " |\n")
    return RAMPS_HEAD.format(white=ramps.WHITE_CD_M2, veil=ramps.VEIL_CD_M2) + "".join(rows)


if __name__ == "__main__":
    sys.exit(main())
