"""The count sheet in a real browser: filled in by thumb and by keys, kept, refused, handed out, and read by lossmap."""

from __future__ import annotations

import dataclasses
import json
import re
import shutil
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from lossmap.base.field import FieldMap
from lossmap.base.settings import Settings, StopSettings
from lossmap.base.tables import POSITIONS
from lossmap.loss import losses
from lossmap.pipelines.command import main
from lossmap.pipelines.plan_stops import made_plan
from lossmap.read import read_counts, read_field
from lossmap.report.stops.count_sheet import count_sheet
from lossmap.report.stops.plan import StopsPlan
from lossmap.report.words import Words

pytestmark = pytest.mark.browser

DESK, PHONE, NARROW = (1280, 800), (390, 844), (320, 700)
HOSTILE_NOTE = '=HYPERLINK("x";\'y\') <img src=x onerror=window.hit=1>, 12 \N{DEGREE SIGN} | "q"'
ENTER, TAB = "\ue007", "\ue004"
FT2_M2 = 0.09290304
SHELF = "lossmap count sheet: "


def written(plan: StopsPlan, folder: Path, name: str = "count-sheet.html") -> Path:
    """The sheet of a plan as a file."""
    (folder / name).write_text(count_sheet(plan), encoding="utf-8")
    return folder / name


@pytest.fixture(scope="module")
def pages(make_plan: Callable[..., StopsPlan], field_map: FieldMap, hostile_map: FieldMap, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Sheets of the made plan, on ground still to be cut and on ground cut, with residue in a windrow, and full of hostile text."""
    folder = tmp_path_factory.mktemp("sheets")
    plan = standing(make_plan(field_map))
    windrow = dataclasses.replace(plan.field, facts=plan.field.facts.model_copy(update={"discharge_width": 1.524}))
    plans = {
        "sheet": plan,
        "cut": make_plan(field_map),
        "windrow": dataclasses.replace(plan, field=windrow),
        "hostile": make_plan(hostile_map, notes=("{{7*7}}<script>window.hit=1</script>",)),
    }
    return {name: written(one, folder, f"{name}.html") for name, one in plans.items()}


def standing(plan: StopsPlan) -> StopsPlan:
    """The same plan before any machine was there."""
    return dataclasses.replace(plan, stops=plan.stops.drop(columns=["speed_m_s", "speed_rank_pct"]))


@pytest.fixture(scope="module")
def demo(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo field as it is before any count: corn, its residue in a windrow."""
    folder = tmp_path_factory.mktemp("demo") / "gravel-eighty"
    shutil.copytree(root / "demo-fields" / "gravel-eighty", folder)
    (folder / "counts.csv").unlink()
    facts = (folder / "field.toml").read_text()
    (folder / "field.toml").write_text(facts.split("[[counts]]")[0])
    return folder


@pytest.fixture
def fresh(browser: Any) -> Any:
    """The browser as a phone with nothing on its shelf and no place known."""
    browser.size(*PHONE, touch=True)
    browser.protocol("Emulation.clearGeolocationOverride")
    browser.may_know_its_place(True)
    return browser


def opened(browser: Any, page: Path) -> Any:
    """A sheet that was never opened before."""
    browser.open(page)
    browser.run("localStorage.clear()")
    browser.open(page)
    return browser


def press(browser: Any, *selectors: str) -> None:
    """Press things one after another, as a thumb does."""
    for selector in selectors:
        browser.run("document.querySelector(arguments[0]).click()", selector)


def go(browser: Any, stop: str) -> None:
    """To a stop, or back to all."""
    browser.run("location.hash = arguments[0] ? '#stop=' + encodeURIComponent(arguments[0]) : '#stops'", stop)
    browser.until(f"document.body.dataset.view === '{'stop' if stop else 'list'}'")
    if stop:
        browser.until(f"document.getElementById('stop-head').textContent === {json.dumps('Stop ' + stop)}")


def add(browser: Any, number: int) -> None:
    """Count to a number with the pad's keys."""
    if number == 0:
        press(browser, "#none")
    for step in (10, 5, 1):
        for _ in range(number // step):
            press(browser, f'[data-add="{step}"]')
        number %= step


def said(browser: Any, part: str) -> str:
    """Text of an element."""
    return str(browser.run("return document.getElementById(arguments[0]).textContent", part))


def state(place: dict[str, Any] | None = None, **frames: list[float]) -> dict[str, Any]:
    """What the page keeps of one stop: frames of a square foot at each position."""
    return {
        "place": place or {"lat": 41.9, "lon": -93.83, "by": "typed", "accuracy": None},
        "counted": {position: {"area": 1, "by": "seeds", "frames": values} for position, values in frames.items()},
    }


def shelve(browser: Any, page: Path, stops: dict[str, Any]) -> None:
    """Open a sheet on whose shelf these stops lie."""
    opened(browser, page)
    browser.run("localStorage.setItem(arguments[0], arguments[1])", shelf(browser), json.dumps({"column": "frame_ft2", "stops": stops}))
    browser.open(page)


def shelf(browser: Any) -> str:
    """Where the open sheet keeps its counts."""
    words = json.loads(said(browser, "sheet-words"))
    return f"{SHELF}{words['field']} {words['sheet']}"


def test_three_stops_go_through_the_sheet_into_the_map(fresh: Any, demo: Path, tmp_path: Path) -> None:
    """Planned before any count, filled in by thumb, by typing and at a place of one's own, kept over a reload, handed out, read, mapped."""
    plan = made_plan(read_field(demo), Settings(stops=StopSettings(number=12)), lambda name: nullcontext())
    page = written(plan, tmp_path)
    opened(fresh, page)
    go(fresh, "P1")
    # a machine stands here still, so all three positions can be counted
    fresh.type(".position[data-position=before_header] label:nth-child(1) input", "1")
    press(fresh, "#next")
    for number in (0, 0, 2, 7, 12, 3, 9, 16, 25, 11, 30):
        add(fresh, number)
        press(fresh, "#next")
    fresh.until("document.body.dataset.view === 'list'")
    go(fresh, "P2")
    for frame, number in enumerate((4, 6), start=1):
        fresh.type(f".position[data-position=behind_header] label:nth-child({frame}) input", str(number))
    fresh.type("#ears-before", "0")
    fresh.type("#ears-behind", "2")
    fresh.type("#ear-grams", "150,5")
    fresh.type("#note", HOSTILE_NOTE)
    go(fresh, "")
    fresh.place(42.043, -94.061, 4)
    press(fresh, "#own")
    fresh.until(
        "document.getElementById('place').textContent.startsWith('Frames lie where you stood: 42.04300, -94.06100, give or take 13 ft')"
    )
    fresh.type(".position[data-position=behind_combine] .area", "2.5")
    fresh.type(".position[data-position=behind_combine] label:nth-child(1) input", "31")
    fresh.open(page)
    assert said(fresh, "tally") == "3 stops counted, 17 rows."
    go(fresh, "P2")
    assert fresh.run("return document.getElementById('note').value") == HOSTILE_NOTE
    assert fresh.run("return window.hit === undefined")
    down = tmp_path / "down"
    down.mkdir()
    fresh.downloads(down)
    press(fresh, "#save")
    file = fresh.downloaded(down)
    assert re.fullmatch(r"counts-gravel-eighty-\d{4}-\d\d-\d\d-\d{4}\.csv", file.name)
    assert fresh.complaints() == []
    assert [url for url in fresh.requests() if not url.startswith(page.as_uri())] == []
    counts = counted(demo, file)
    wanted = [
        ("P1", position, float(number))
        for position, row in zip(POSITIONS, ([1, 0, 0, 2], [7, 12, 3, 9], [16, 25, 11, 30]), strict=True)
        for number in row
    ]
    wanted += [("P2", "behind_header", 4.0), ("P2", "behind_header", 6.0), ("A1", "behind_combine", 31.0)]
    seeds = counts[counts["seeds"].notna()]
    assert list(zip(seeds["stop_id"], seeds["position"], seeds["seeds"], strict=True)) == wanted
    assert seeds["frame_m2"].tolist() == pytest.approx([FT2_M2] * 14 + [2.5 * FT2_M2])
    ears = counts[counts["ears"].notna()]
    assert list(zip(ears["position"], ears["ears"], ears["grams_per_ear"], strict=True)) == [
        ("before_header", 0, 150.5),
        ("behind_header", 2, 150.5),
    ]
    assert ears["frame_m2"].tolist() == pytest.approx([435.6 * FT2_M2] * 2)
    assert set(counts["frames"]) == {1.0}
    assert set(counts.loc[counts["stop_id"] == "P2", "note"]) == {"'" + HOSTILE_NOTE}
    places = counts.drop_duplicates("stop_id").set_index("stop_id").geometry.to_crs(plan.stops.crs)
    assert [places[name].distance(spot) < 0.02 for name, spot in zip(("P1", "P2"), plan.stops.geometry, strict=False)] == [True, True]
    assert counts["time"].notna().all()
    assert abs((counts["time"] - pd.Timestamp.now(tz="UTC")).dt.total_seconds()).max() < 600
    assert main(["map", str(demo), "--out", str(tmp_path / "out"), "-q"]) == 0
    summary = json.loads((tmp_path / "out" / "gravel-eighty" / "summary.json").read_text())
    assert summary["loss"]["total"]["mean_kg_ha"] > 0
    stops = json.loads((tmp_path / "out" / "gravel-eighty" / "stops.geojson").read_text())["features"]
    assert [stop["properties"]["stop_id"] for stop in stops] == ["P1", "P2", "A1"]


def counted(folder: Path, file: Path) -> gpd.GeoDataFrame:
    """The file's counts, read as a list of the field."""
    shutil.copy(file, folder / "counts.csv")
    facts = (folder / "field.toml").read_text()
    (folder / "field.toml").write_text(facts + '\n[[counts]]\npath = "counts.csv"\n')
    return read_counts(read_field(folder))


def test_what_is_shown_is_lossmaps_own_arithmetic(fresh: Any, pages: dict[str, Path], plan: StopsPlan) -> None:
    """Truth: each source's value is that of `losses` for the same counts, spread and in a windrow; its ends are near the posterior's."""
    words = Words(plan.field.crop, "us")
    cases = {"P4": (3, 14, 22), "P5": (1, 60, 120), "P6": (8, 31, 75)}
    stops = {
        name: state(**{position: [number / 4] * 4 for position, number in zip(POSITIONS, row, strict=True)}) for name, row in cases.items()
    }
    for page, width in (("sheet", None), ("windrow", 1.524)):
        field = dataclasses.replace(
            plan.field, facts=plan.field.facts.model_copy(update={"discharge_width": width, "thousand_seed_mass": plan.seed_mass_g.mean})
        )
        settings = Settings.model_validate({"loss": {"seed_mass_doubt": f"{100 * plan.seed_mass_g.log_sd} %"}})
        shelve(fresh, pages[page], stops)
        for name, row in cases.items():
            wanted = losses(made_counts(name, row), field, settings.loss, 1).iloc[0]
            go(fresh, name)
            shown = fresh.run(
                "return [...document.querySelectorAll('#result tr')].map(row => [row.cells[0].textContent, row.cells[1].textContent])"
            )
            assert [source for source, _ in shown] == ["preharvest loss", "header loss", "threshing loss", "all sources"]
            for (_, text), source in zip(shown, ("preharvest", "header", "threshing", "total"), strict=True):
                found = re.fullmatch(r"([\d.]+) bu/ac \(([\d.]+) to ([\d.]+)\)", text)
                assert found, text
                value, low, high = (float(part) for part in found.groups())
                assert value == pytest.approx(wanted[f"{source}_kg_ha"] * words.loss.factor, rel=0.06), (page, name, source)
                assert high == pytest.approx(wanted[f"{source}_high_kg_ha"] * words.loss.factor, rel=0.3), (page, name, source)
                assert low <= wanted[f"{source}_low_kg_ha"] * words.loss.factor * 1.15 + 0.01, (page, name, source)


def made_counts(stop: str, row: tuple[int, int, int]) -> gpd.GeoDataFrame:
    """One stop's counts on four square feet at each position."""
    rows = [
        {
            "stop_id": stop,
            "position": position,
            "seeds": float(number),
            "frame_m2": 4 * FT2_M2,
            "frames": 4.0,
            "note": "",
            **dict.fromkeys(("grams", "ears", "grams_per_ear"), np.nan),
        }
        for position, number in zip(POSITIONS, row, strict=True)
    ]
    return gpd.GeoDataFrame(rows, geometry=[shapely.Point(431_100, 4_640_100)] * 3, crs=32615)


def test_on_cut_ground_the_form_begins_behind_the_combine(fresh: Any, pages: dict[str, Path]) -> None:
    """Where the log shows the ground cut, the first key counts behind the combine, and the page says why."""
    for name, begins, is_said in (("cut", "Behind the combine, frame 1", True), ("sheet", "In front of the header, frame 1", False)):
        opened(fresh, pages[name])
        go(fresh, "P4")
        assert begins in fresh.run("return document.getElementById('pad-says').textContent")
        assert ("The log shows this ground cut" in fresh.run("return document.getElementById('stop').innerText")) == is_said


def test_one_frame_is_called_a_hint(fresh: Any, pages: dict[str, Path]) -> None:
    """Every count says what it amounts to, with its doubt in numbers and in a word; an empty frame is not none lost."""
    opened(fresh, pages["sheet"])
    go(fresh, "P4")
    means = "return document.querySelector('.position[data-position=before_header] .means').textContent"
    add(fresh, 4)
    assert re.fullmatch(r"4 seeds on 1 frame: 2\.\d bu/ac \(0\.\d to \d\.\d\) lies here, a hint only; 3 frames to go\.", fresh.run(means))
    for _ in range(3):
        press(fresh, "#next")
        add(fresh, 15)
    assert re.fullmatch(r"49 seeds on 4 frames: 6\.\d bu/ac \(\d\.\d to \d+\.\d\) lies here, rough\.", fresh.run(means))
    go(fresh, "P5")
    add(fresh, 0)
    assert re.fullmatch(r"0 seeds on 1 frame: under 1\.\d bu/ac lies here; 3 frames to go\.", fresh.run(means))
    assert said(fresh, "not-told") == "All sources together can be told once it is counted behind the combine."


def test_ears_and_weighed_seed_count_too(fresh: Any, pages: dict[str, Path]) -> None:
    """An ear of 159 g on 1/100 acre is 0.63 bu/ac; 3 g of seed on a square foot weigh as much whatever a seed weighs."""
    opened(fresh, pages["sheet"])
    go(fresh, "P4")
    fresh.type("#ears-before", "1")
    fresh.type("#ears-behind", "1")
    fresh.run(
        "const by = document.querySelector('.position[data-position=behind_combine] .by');"
        "by.value = 'grams'; by.dispatchEvent(new Event('change'))"
    )
    fresh.type(".position[data-position=behind_combine] label:nth-child(1) input", "3.0")
    rows = fresh.run("return [...document.querySelectorAll('#result tr')].map(row => [row.cells[0].textContent, row.cells[1].textContent])")
    # 159 g x 10 / 40.469 m2 = 39.3 kg/ha; 3 g x 10 / 0.0929 m2 = 322.9 kg/ha; 62.77 kg/ha are 1 bu/ac
    assert [source for source, _ in rows] == ["all sources"]
    assert float(rows[0][1].split()[0]) == pytest.approx((39.3 + 322.9) / 62.77, abs=0.06)
    press(fresh, "#copy")
    lines = fresh.run("return document.getElementById('text').value").split("\n")
    header = lines[0].split(",")
    assert [dict(zip(header, line.split(","), strict=True))["grams"] for line in lines[1:4]] == ["3", "", ""]


def test_a_refused_position_is_said_and_typing_works(fresh: Any, pages: dict[str, Path]) -> None:
    """The line names what to do; a place typed wrong is refused, one typed right is taken; without any the stop is left out and named."""
    fresh.may_know_its_place(False)
    opened(fresh, pages["sheet"])
    press(fresh, "#find")
    fresh.until(
        "document.getElementById('found').textContent === 'The browser does not tell your place: allow location for this page, or type it.'"
    )
    assert fresh.run("return document.getElementById('find').getAttribute('aria-pressed')") == "false"
    press(fresh, "#own")
    fresh.until("document.getElementById('place').textContent.startsWith('The browser does not tell your place')")
    assert fresh.run("return document.getElementById('type-part').open")
    add(fresh, 7)
    assert fresh.run("return document.getElementById('left-out').textContent") == "Left out, for it has no place yet: stop A1"
    assert fresh.run("return document.getElementById('save').disabled")
    for wrong in ("north of the pond", "141.9, -93.8", "41.9", "41,9 -93,8 1"):
        fresh.type("#typed", wrong + TAB)
        assert said(fresh, "typed-fault").startswith("Write latitude, then longitude"), wrong
        assert said(fresh, "place").startswith("The browser does not tell your place")
    fresh.type("#typed", "41.9101, -93.8262" + TAB)
    assert said(fresh, "typed-fault") == ""
    assert said(fresh, "place") == "Frames lie where you typed: 41.91010, -93.82620."
    assert said(fresh, "tally") == "1 stop counted, 1 row."
    fresh.type("#typed", "-93.8262, 41.9101" + TAB)
    assert said(fresh, "typed-fault").startswith("Write latitude, then longitude")
    fresh.type("#typed", "41.9101, 93.8262" + TAB)
    assert said(fresh, "place").endswith("So far away? Latitude comes first, and west is negative.")
    assert fresh.complaints() == []


def test_the_best_position_is_kept(fresh: Any, pages: dict[str, Path]) -> None:
    """One too rough is not taken, a better one replaces a worse, never the other way; 3 m ends the search; the plan's can be had back."""
    opened(fresh, pages["sheet"])
    go(fresh, "P4")
    planned = said(fresh, "place")
    fresh.place(41.91, -93.83, 200)
    press(fresh, "#pin")
    fresh.until("document.getElementById('place').textContent.includes('656 ft only, too rough to use')")
    for number, (accuracy, kept) in enumerate(((20, "66 ft"), (6, "20 ft"), (9, "20 ft"), (2.9, "10 ft"))):
        fresh.place(41.91 + number / 1000, -93.83, accuracy)
        fresh.until(f"document.getElementById('place').textContent.includes('give or take {kept}')")
        assert ("Rougher than the 39 ft" in said(fresh, "place")) == (accuracy == 20)
        if accuracy == 9:  # time for a fix that must not be taken
            fresh.run("return new Promise(done => setTimeout(done, 300))")
    assert said(fresh, "place").startswith("Frames lie where you stood: 41.91300, -93.83000, give or take 10 ft. That is ")
    assert fresh.run("return document.getElementById('pin').getAttribute('aria-pressed')") == "false"
    press(fresh, "#unpin")
    assert said(fresh, "place") == planned


def test_finding_oneself_orders_the_stops_by_distance(fresh: Any, pages: dict[str, Path], plan: StopsPlan) -> None:
    """Truth: distances within a foot in a hundred of the projected ones, directions right, the nearest on top; the dot stands there."""
    opened(fresh, pages["sheet"])
    spot = gpd.GeoSeries([shapely.Point(431_290, 4_640_060)], crs=plan.stops.crs)
    lonlat = spot.to_crs(4326).iloc[0]
    fresh.place(lonlat.y, lonlat.x, 5)
    press(fresh, "#find")
    fresh.until("document.getElementById('found').textContent === 'You are found, give or take 16 ft.'")
    press(fresh, "#nearest")
    lines = fresh.run("return [...document.querySelectorAll('#stop-list a')].map(line => [...line.children].map(part => part.textContent))")
    assert [line[0] for line in lines] == ["P6", "P5", "P4"]
    for name, away, *_ in lines:
        feet, wind = re.fullmatch(r"([\d,]+) ft ([a-z-]+)", away).groups()
        stop = plan.stops.geometry[plan.stops["stop"] == name].iloc[0]
        assert float(feet.replace(",", "")) == pytest.approx(stop.distance(spot.iloc[0]) / 0.3048, rel=0.01, abs=1)
        assert wind == {"P6": "south-east", "P5": "north-west", "P4": "west"}[name]
    centre = "spot => [+spot.getAttribute('cx'), +spot.getAttribute('cy')]"
    dot, *circles = fresh.run(f"return [...document.querySelectorAll('#here-dot, .sketch circle.stops')].map({centre})")
    dot, circles = circles[-1], [dot, *circles[:-1]]  # in the page's order the dot is last
    # P5 and P6 lie 180 m apart, so one unit of the sketch is known in metres
    scale = np.hypot(*np.subtract(circles[1], circles[2])) / plan.stops.geometry.iloc[1].distance(plan.stops.geometry.iloc[2])
    assert np.hypot(*np.subtract(dot, circles[2])) / scale == pytest.approx(np.hypot(10, 10), abs=0.5)


def test_who_is_found_already_is_taken_at_once(fresh: Any, pages: dict[str, Path]) -> None:
    """With the search of the list running, a stop's place is known from its fix; a later, better one still counts."""
    opened(fresh, pages["sheet"])
    fresh.place(41.91, -93.83, 8)
    press(fresh, "#find")
    fresh.until("document.getElementById('found').textContent.startsWith('You are found')")
    go(fresh, "P5")
    press(fresh, "#pin")
    assert said(fresh, "place").startswith(
        "Frames lie where you stood: 41.91000, -93.83000, give or take 26 ft, getting better: stand still."
    )
    fresh.place(41.9101, -93.83, 5)
    fresh.until("document.getElementById('place').textContent.includes('give or take 16 ft')")
    assert fresh.complaints() == []


def test_nothing_kept_is_said_and_handing_out_still_works(fresh: Any, pages: dict[str, Path]) -> None:
    """A viewer whose storage throws: the line stands at the top, the form works, the text can be copied."""
    with fresh.before_page("Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no', 'SecurityError'); }});"):
        fresh.open(pages["sheet"])
        assert fresh.run("return !document.getElementById('not-kept').hidden")
        go(fresh, "P4")
        add(fresh, 3)
        assert said(fresh, "tally") == "1 stop counted, 1 row."
        press(fresh, "#copy")
        assert fresh.run("return document.getElementById('text').value").count("\n") == 2
    with fresh.before_page("Storage.prototype.setItem = function () { throw new DOMException('full', 'QuotaExceededError'); };"):
        fresh.open(pages["sheet"])
        assert fresh.run("return !document.getElementById('not-kept').hidden")
    assert fresh.complaints() == []


@pytest.mark.parametrize(
    "junk",
    [
        "not json",
        "[]",
        "null",
        '{"stops": 5}',
        '{"stops": {"P4": {"counted": {"before_header": {"frames": ["<b>", -1, 1e999, 4], "area": "x"}}, "place": {"lat": 99, "lon": 1}}}}',
    ],
)
def test_what_others_put_on_the_shelf_harms_nothing(fresh: Any, pages: dict[str, Path], junk: str) -> None:
    """Any page of the device can write there: what is no count is left out, and counting goes on."""
    opened(fresh, pages["sheet"])
    fresh.run("localStorage.setItem(arguments[0], arguments[1])", shelf(fresh), junk)
    fresh.open(pages["sheet"])
    go(fresh, "P4")
    frames = fresh.run(
        "return [...document.querySelectorAll('.position[data-position=before_header] .frames input')].map(box => box.value)"
    )
    assert frames == (["", "", "", "4"] if "before_header" in junk else [""] * 4)
    add(fresh, 2)
    fresh.open(pages["sheet"])
    assert said(fresh, "tally").startswith("1 stop counted")
    assert fresh.complaints() == []


def test_two_windows_do_not_undo_one_another(fresh: Any, pages: dict[str, Path]) -> None:
    """A stop that another window of the same sheet put on the shelf is still there after one is counted here."""
    opened(fresh, pages["sheet"])
    go(fresh, "P4")
    add(fresh, 2)
    kept = json.loads(fresh.run("return localStorage.getItem(arguments[0])", shelf(fresh)))
    kept["stops"]["P6"] = state(behind_combine=[9])
    fresh.run("localStorage.setItem(arguments[0], arguments[1])", shelf(fresh), json.dumps(kept))
    add(fresh, 1)
    fresh.open(pages["sheet"])
    assert said(fresh, "tally") == "2 stops counted, 2 rows."


def test_counts_of_an_earlier_plan_are_neither_mixed_in_nor_lost(fresh: Any, pages: dict[str, Path], tmp_path: Path) -> None:
    """They are no part of this sheet's file, and can be had as a file of their own."""
    opened(fresh, pages["sheet"])
    old = json.dumps({"column": "frame_m2", "stops": {"P1": state(behind_combine=[5, 6])}})
    fresh.run("localStorage.setItem(arguments[0], arguments[1])", shelf(fresh) + "old", old)
    fresh.open(pages["sheet"])
    assert said(fresh, "tally") == "Nothing is counted yet."
    assert fresh.run("return document.getElementById('earlier').innerText").startswith(
        "Counts of an earlier sheet of this field are kept on this device:"
    )
    fresh.downloads(tmp_path)
    press(fresh, "#earlier button")
    lines = fresh.downloaded(tmp_path).read_text().splitlines()
    assert "frame_m2" in lines[0]
    assert len(lines) == 3
    assert said(fresh, "tally") == "Nothing is counted yet."


def test_taking_away_needs_a_second_touch(fresh: Any, pages: dict[str, Path]) -> None:
    """Undo gives back key by key; deleting asks again, and what is deleted stays so over a reload."""
    opened(fresh, pages["sheet"])
    go(fresh, "P4")
    add(fresh, 6)
    press(fresh, "#undo")
    assert said(fresh, "pad-says").endswith("frame 1: 5")
    press(fresh, "#undo")
    assert said(fresh, "pad-says").endswith("frame 1: \N{EN DASH}")
    assert fresh.run("return document.getElementById('undo').disabled")
    add(fresh, 6)
    press(fresh, "#drop")
    assert said(fresh, "tally") == "1 stop counted, 1 row."
    press(fresh, "#drop")
    fresh.until("document.body.dataset.view === 'list'")
    fresh.open(pages["sheet"])
    assert said(fresh, "tally") == "Nothing is counted yet."
    go(fresh, "P5")
    add(fresh, 1)
    go(fresh, "")
    press(fresh, "#clear")
    assert said(fresh, "clear") == "Yes, delete the counts of 1 stop"
    press(fresh, "#clear")
    assert said(fresh, "tally") == "Nothing is counted yet."
    assert fresh.run("return localStorage.getItem(arguments[0])", shelf(fresh)) is None


def test_what_is_no_count_is_refused(fresh: Any, pages: dict[str, Path]) -> None:
    """A word, a minus, half a seed or a frame of no area: said beside the box, and the count before it stays."""
    opened(fresh, pages["sheet"])
    go(fresh, "P4")
    box, fault = (
        ".position[data-position=before_header] label:nth-child(1) input",
        "return document.querySelector('.position[data-position=before_header] .fault').textContent",
    )
    fresh.type(box, "12")
    for wrong in ("1o", "-3", "2.5", "=1"):
        fresh.run(
            "const box = document.querySelector(arguments[0]); box.value = arguments[1]; box.dispatchEvent(new Event('input'))", box, wrong
        )
        assert wrong in fresh.run(fault)
        assert said(fresh, "pad-says").endswith("12")
    fresh.type(box, "13")
    assert fresh.run(fault) == ""
    fresh.type(".position[data-position=before_header] .area", "0")
    assert "above 0" in fresh.run(fault)
    press(fresh, "#copy")
    assert ",13,,,,1,1," in fresh.run("return document.getElementById('text').value")


def test_own_stops_have_names_of_their_own(fresh: Any, pages: dict[str, Path]) -> None:
    """Renamed, it keeps its counts; a name that is taken, or none, is refused; a name like a formula is handed out as text."""
    opened(fresh, pages["sheet"])
    fresh.place(41.91, -93.83, 3)
    press(fresh, "#own")
    fresh.until("document.getElementById('place').textContent.startsWith('Frames lie where you stood')")
    add(fresh, 3)
    for wrong, fault in (("P4", "There is a stop of that name already."), (" ", "A stop needs a name.")):
        fresh.type("#name", wrong + TAB)
        assert said(fresh, "name-fault") == fault
    fresh.type("#name", "@knoll <b>" + TAB)
    assert said(fresh, "stop-head") == "Stop @knoll <b>"
    fresh.open(pages["sheet"])
    assert said(fresh, "tally") == "1 stop counted, 1 row."
    press(fresh, "#copy")
    assert (
        fresh.run("return document.getElementById('text').value")
        .split("\n")[1]
        .startswith("'@knoll <b>,41.9100000,-93.8300000,before_header,3,")
    )


def test_it_can_be_handed_on_where_the_device_offers_it(fresh: Any, pages: dict[str, Path]) -> None:
    """The device's own sharing gets the same file; where there is none the button is not there."""
    with fresh.before_page(
        "navigator.canShare = () => true;"
        "navigator.share = async given => { window.given = [given.files[0].name, await given.files[0].text()]; };"
    ):
        opened(fresh, pages["sheet"])
        go(fresh, "P4")
        add(fresh, 3)
        press(fresh, "#copy", "#share")
        fresh.until("window.given && document.getElementById('said').textContent === 'Handed on.'")
        name, content = fresh.run("return window.given")
        assert name.endswith(".csv")
        assert content == fresh.run("return document.getElementById('text').value")
    with fresh.before_page("delete Navigator.prototype.share; delete Navigator.prototype.canShare;"):
        fresh.open(pages["sheet"])
        assert fresh.run("return document.getElementById('share').hidden")


def test_keys_alone_are_enough(fresh: Any, pages: dict[str, Path]) -> None:
    """From the first tab to the copied text: skip link, stop, frames by Enter, back, and out."""
    fresh.size(*DESK)
    opened(fresh, pages["sheet"])
    fresh.run("document.body.focus()")
    fresh.keys(TAB)
    assert fresh.run("return document.activeElement.textContent") == "Skip to the stops"
    fresh.keys(ENTER)
    reach(fresh, "document.activeElement.getAttribute('href') === '#stop=P4'")
    fresh.keys(ENTER)
    fresh.until("document.activeElement.id === 'stop-head'")
    reach(fresh, "document.activeElement.getAttribute('aria-label') === 'In front of the header, frame 1, seeds'")
    for number in ("2", "0", "1", "3", "8"):
        fresh.keys(number, ENTER)
    assert fresh.run("return document.activeElement.getAttribute('aria-label')") == "Behind the header, frame 2, seeds"
    assert fresh.run("return document.activeElement.matches(':focus-visible')")
    reach(fresh, "document.activeElement.textContent === 'Done: all stops'")
    fresh.keys(ENTER)
    fresh.until("document.activeElement.getAttribute('href') === '#stop=P4'")
    reach(fresh, "document.activeElement.id === 'copy'")
    fresh.keys(ENTER)
    assert fresh.run("return document.getElementById('text').value").count("\n") == 6


def reach(browser: Any, condition: str, most: int = 60) -> None:
    """Press Tab until the focus is where it should be."""
    for _ in range(most):
        if browser.run(f"return Boolean({condition})"):
            return
        browser.keys(TAB)
    raise AssertionError(f"never reached: {condition}")


@pytest.mark.parametrize("name", ["sheet", "hostile"])
def test_no_sideways_scroll_and_nothing_too_small_to_press(fresh: Any, pages: dict[str, Path], name: str) -> None:
    """320 pixels wide, list and stop, every part opened; 44 pixels both ways for whatever is pressed."""
    fresh.size(*NARROW, touch=True)
    opened(fresh, pages[name])
    for stop in ("", "P4"):
        go(fresh, stop)
        if stop:
            add(fresh, 27)
        fresh.run("document.querySelectorAll('details').forEach(part => { part.open = true; })")
        assert fresh.run("return document.documentElement.scrollWidth") == 320
        small = fresh.run(
            "return [...document.querySelectorAll('button, input, select, summary, .button, .back, .stop-list a')]"
            ".filter(part => part.offsetHeight && (part.offsetHeight < 44 || part.offsetWidth < 44)).map(part => part.outerHTML)"
        )
        assert small == []


def test_the_keys_stay_under_the_thumb(fresh: Any, pages: dict[str, Path]) -> None:
    """On a phone the pad is in sight when a stop is opened, with the first frame above it, and wherever its counts are scrolled to."""
    opened(fresh, pages["sheet"])
    go(fresh, "P4")
    for selector in (".pad", ".position .frames"):
        box = fresh.run("const box = document.querySelector(arguments[0]).getBoundingClientRect(); return [box.top, box.bottom]", selector)
        assert 0 < box[0] < box[1] <= PHONE[1]
    for _ in range(9):
        add(fresh, 1)
        press(fresh, "#next")
        pad, frame = (
            fresh.run("const box = document.querySelector(arguments[0]).getBoundingClientRect(); return [box.top, box.bottom]", selector)
            for selector in (".pad", ".frames .now")
        )
        assert pad[1] == PHONE[1]
        assert 0 <= frame[0] < frame[1] <= pad[0]
    fresh.size(PHONE[1], PHONE[0], touch=True)
    assert fresh.run("return document.querySelector('.pad').offsetHeight") < PHONE[0] / 3


def test_the_devices_own_way_back_leads_to_the_list(fresh: Any, pages: dict[str, Path]) -> None:
    """Back from a stop is the list and not away from the page; a reload stays at the stop."""
    opened(fresh, pages["sheet"])
    press(fresh, "#stop-list a")
    fresh.until("document.getElementById('stop-head').textContent === 'Stop P4'")
    add(fresh, 1)
    fresh.run("location.reload()")
    fresh.until("document.documentElement.dataset.ready === 'yes' && document.body.dataset.view === 'stop'")
    fresh.run("history.back()")
    fresh.until("document.body.dataset.view === 'list' && document.activeElement.getAttribute('href') === '#stop=P4'")
    assert fresh.complaints() == []


def test_hostile_text_shows_letter_for_letter_and_nothing_runs(fresh: Any, pages: dict[str, Path], hostile: str) -> None:
    """In the title, the notes, and from the shelf."""
    opened(fresh, pages["hostile"])
    assert fresh.run("return document.querySelector('h1').textContent") == hostile
    assert "{{7*7}}<script>window.hit=1</script>" in fresh.run("return document.querySelector('.notes').textContent")
    shelve(fresh, pages["hostile"], {hostile: state(behind_combine=[5]) | {"note": hostile}})
    assert hostile in fresh.run("return [...document.querySelectorAll('#stop-list strong')].map(name => name.textContent)")
    go(fresh, hostile)
    assert fresh.run("return document.getElementById('note').value") == hostile
    assert fresh.run("return window.hit === undefined && document.querySelectorAll('img').length === 0")
    assert fresh.complaints() == []


def test_it_is_a_paper_sheet_without_scripts(fresh: Any, pages: dict[str, Path]) -> None:
    """As a phone's file preview shows it: cautions, how to count, sketch and the table with its boxes; no dead button."""
    with fresh.without_scripts():
        fresh.open(pages["cut"], wait="true")
        text = fresh.run("return document.body.innerText")
        assert fresh.run("return document.querySelectorAll('.boxes span').length") == 3 * 25 + 2 * 7
        assert fresh.run("return [...document.querySelectorAll('button, input, a')].filter(part => part.offsetHeight).length") == 0
        assert fresh.run("return document.documentElement.scrollWidth") == PHONE[0]
    for fact in ("key out", "mechanical lock", "In the standing crop a few steps", "Among the fastest ground", "Counted by", "A4"):
        assert fact in text


def test_it_prints_on_letter_and_on_a4(fresh: Any, pages: dict[str, Path]) -> None:
    """One page to read and one of boxes, from the list and from a stop; nothing wider than the paper, and no keys on it."""
    fresh.size(*DESK)
    opened(fresh, pages["sheet"])
    for stop in ("", "P4"):
        go(fresh, stop)
        if stop:
            add(fresh, 3)
        for paper in ((8.5, 11), (8.27, 11.69)):
            assert fresh.pages(*paper) == 2
        fresh.protocol("Emulation.setEmulatedMedia", media="print")
        fresh.size(700, 950)
        try:
            assert fresh.run("return document.documentElement.scrollWidth") <= 700
            assert fresh.run("return [...document.querySelectorAll('button, input, .pad')].filter(part => part.offsetHeight).length") == 0
            assert fresh.run("return document.querySelector('.boxes-table').offsetHeight") > 300
            assert fresh.run("return document.querySelector('.caution').offsetHeight") > 100
        finally:
            fresh.protocol("Emulation.setEmulatedMedia", media="")
            fresh.size(*DESK)


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [DESK, PHONE])
def test_it_is_accessible(fresh: Any, pages: dict[str, Path], mode: str, width: int, height: int) -> None:
    """No rule broken (WCAG 2.2 A and AA, and best practice) on list and stop, filled in, with every part open."""
    fresh.size(width, height, touch=width < 500)
    fresh.protocol("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": mode}])
    try:
        shelve(fresh, pages["sheet"], {"P4": state(before_header=[1], behind_combine=[3, 4]), "A1": state(behind_header=[2])})
        for stop in ("", "P4", "A1"):
            go(fresh, stop)
            fresh.run("document.querySelectorAll('details').forEach(part => { part.open = true; })")
            assert fresh.violations() == []
    finally:
        fresh.protocol("Emulation.setEmulatedMedia", features=[])
