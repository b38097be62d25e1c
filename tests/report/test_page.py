"""report.html: the facts it must hold."""

from __future__ import annotations

import dataclasses
import html
import re
from collections.abc import Callable

import pytest

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Estimate, Pace, ReelSpeed
from lossmap.base.field import FieldMap
from lossmap.report.page import page
from lossmap.report.words import Words

US = Words(reference.crop("corn"), "us")


@pytest.fixture(scope="module")
def text(field_map: FieldMap) -> str:
    """The page."""
    return page(field_map)


def words_in(text: str) -> str:
    """What a reader sees, in one line."""
    bare = re.sub(r"<style.*?</style>|<svg.*?</svg>", "", text, flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", bare)))


def test_same_field_same_bytes(field_map: FieldMap, text: str) -> None:
    """A report can be compared with an earlier one."""
    assert page(field_map) == text


def test_no_script_and_nothing_to_fetch(text: str) -> None:
    """Not a script, not a picture from elsewhere, and a policy that forbids both."""
    assert "<script" not in text
    assert "default-src 'none'" in html.unescape(text)
    assert not re.findall(r'(?:src|href)="(?!#|map\.html|data:)[^"]*"', text)


def test_findings_stand_with_their_doubt(text: str) -> None:
    """Loss by source in both units, of the yield, in money, verdicts, zones."""
    seen = words_in(text)
    for fact in (
        "1.9 bu/ac (1.4 to 2.4)",
        "118 kg/ha (88 to 151)",
        "1.1 % (0.8 to 1.4)",
        "7.90 USD/ac (5.89 to 10.10)",
        "Loss tracks ground speed.",
        "This is a link, not a proof of cause.",
        "A: faster, 3.5 ac, in the south-west.",
        "Yield 176 bu/ac on average",
    ):
        assert fact in seen


def test_each_driver_has_its_curve_in_numbers(field_map: FieldMap, text: str) -> None:
    """The drawing of each, its ends in the caption with their doubt, and once how to read them."""
    seen = words_in(text)
    assert seen.count("In the drawings each dot is a stop") == 1
    for name, scale in (("speed", "mph"), ("dryness", "%")):
        assert field_map.curves[name]
        assert re.search(rf"An average place of this field loses [\d.]+ bu/ac \([\d.]+ to [\d.]+\) at [\d.]+ {scale} and", seen)


def test_advice_is_the_largest_sources_with_titles_and_conflicts(text: str) -> None:
    """Header loss of corn: what answers both drivers first, then the order, what speaks against it, and next season apart."""
    seen = words_in(text)
    rows = reference.advice("header", "corn", ["speed", "dryness"])
    places = [seen.index(US.told(row.look_at)) for row in rows]
    assert places == sorted(places)
    assert [row.first_if for row in rows[:3]] == ["speed", "dryness", ""]
    for row in rows:
        assert row.but in seen
        assert all(reference.sources()[key] in seen for key in row.keys)
    assert "Only next season" in seen
    assert reference.advice("threshing", "corn")[0].look_at not in seen


# A number and a unit of the trade; one of the trade's in a rate.
TRADE = re.compile(r"\d\)? ?(?:plants|USD|bu|lb)?/?(?:in|ft|mph|miles?|ac|acres?|lb|bu|pounds?|bushels?)\b|/(?:ac|bu|lb)\b")


@pytest.mark.parametrize("name", reference.crops())
def test_a_metric_page_is_metric_throughout(field_map: FieldMap, name: str) -> None:
    """All that a page can say of any crop, drawings too: units of the trade stand in the column beside and in titles of sources alone."""
    report = field_map.settings.report.model_copy(update={"units": "metric", "price": "170 USD/t", "hour_value": 300.0})
    metric = dataclasses.replace(
        field_map,
        field=dataclasses.replace(field_map.field, crop=reference.crop(name)),
        settings=field_map.settings.model_copy(update={"report": report}),
        loss={**field_map.loss, **dict.fromkeys(("preharvest", "header", "threshing"), Estimate(50.0, 10.0, 90.0))},
        pace=Pace("told", Estimate(1.8, 1.6, 2.0), 2.2, 1.4, 2.9, *[Estimate(5.0, 1.0, 9.0)] * 4, 300.0, 70.0),
        reel=ReelSpeed(1.2, 1.5, 1.0, 1.74, 31.1),
    )
    seen = re.sub(
        r'<style.*?</style>|<li id="source-.*?</li>|<td role="cell" data-head="in (?:bu|lb)/ac">.*?</td>|<th [^>]*>in (?:bu|lb)/ac</th>',
        "",
        page(metric),
        flags=re.DOTALL,
    )
    assert TRADE.findall(html.unescape(re.sub(r"<[^>]+>", " ", seen))) == []
    told = {row.look_at for source in ("preharvest", "header", "threshing") for row in reference.advice(source, name)}
    assert all(html.escape(Words(metric.field.crop, "metric").told(text)) in seen for text in told)
    assert "cost least at 5.8 to 7.2 km/h" in seen


def test_footnotes_lead_to_the_list_of_sources(text: str) -> None:
    """Numbers run from 1 in the order of reading, each leads to its entry, and the entry is the source of that row."""
    met = [int(number) for number in re.findall(r'href="#source-(\d+)"', text)]
    entries = dict(re.findall(r'<li id="source-(\d+)">(.*?)</li>', text))
    assert [*dict.fromkeys(met)] == sorted(set(met)) == [int(number) for number in entries]
    titles = {number: html.unescape(title) for number, title in entries.items()}
    assert len(set(titles.values())) == len(titles)
    for row in reference.advice("header", "corn"):
        after = text[text.index(html.escape(US.told(row.look_at))) :]
        numbers = re.findall(r"#source-(\d+)", after[: after.index("</sup>")])
        assert {titles[number] for number in numbers} == {reference.sources()[key] for key in row.keys}


def test_speed_that_pays_and_reel_stand_by_the_advice(field_map: FieldMap, text: str) -> None:
    """Under their own heads where they can be told; no empty head where they cannot."""
    assert "Which speed pays" not in text
    assert "The reel" not in text
    told = Pace("told", Estimate(1.8, 1.6, 2.0), 2.2, 1.4, 2.9, *[Estimate(5.0, 1.0, 9.0)] * 4, 300.0, 70.0)
    seen = words_in(page(dataclasses.replace(field_map, pace=told, reel=ReelSpeed(1.2, 1.5, 1.0, 1.74, 31.1))))
    assert seen.index("Which speed pays") < seen.index("cost least at 3.6 to 4.5 mph") < seen.index("Before anyone touches the machine")
    assert seen.index("Before anyone touches the machine") < seen.index("The reel") < seen.index("the reel's tips ran 1.20 times")


def test_slowing_down_leads_only_where_it_pays(field_map: FieldMap) -> None:
    """Where the fast passes lie within the range that pays, the row that slows them keeps its place."""
    fast = Pace("told", Estimate(2.8, 2.5, 2.9), 2.2, 1.4, 2.9, *[Estimate(5.0, 1.0, 9.0)] * 4, 300.0, 70.0)
    soybean = dataclasses.replace(field_map, field=dataclasses.replace(field_map.field, crop=reference.crop("soybean")))
    slowing, damper = (next(row.look_at for row in reference.advice("header", "soybean", [name])) for name in ("speed", "dryness"))
    led, kept = words_in(page(soybean)), words_in(page(dataclasses.replace(soybean, pace=fast)))
    assert led.index(slowing) < led.index(damper)
    assert kept.index(damper) < kept.index(slowing)
    assert "Try the fast passes" not in kept


def test_money_is_asked_for_once_where_there_is_no_price(field_map: FieldMap) -> None:
    """One sentence, and no money anywhere."""
    settings = field_map.settings.model_copy(update={"report": field_map.settings.report.model_copy(update={"price": None})})
    seen = words_in(page(dataclasses.replace(field_map, settings=settings)))
    assert seen.count("report.price") == seen.count("Money needs the price of the grain") == 1
    assert "USD/ac" not in seen


def test_a_toss_up_shows_both_ends_of_the_machine(field_map: FieldMap) -> None:
    """Header and threshing overlap: neither is hidden."""
    loss = {**field_map.loss, "threshing": Estimate(60.0, 30.0, 95.0)}
    seen = words_in(page(dataclasses.replace(field_map, loss=loss)))
    assert "toss-up between header loss and threshing loss" in seen
    assert reference.advice("header", "corn")[0].look_at in seen
    assert reference.advice("threshing", "corn")[0].look_at in seen


def test_cautions_stand_where_people_adjust_and_count(text: str) -> None:
    """All of them, letter for letter, before the first thing to adjust."""
    seen = words_in(text)
    assert seen.index("Before anyone touches the machine") < seen.index(reference.advice("header", "corn")[0].look_at)
    for where in ("adjust", "count", "fire"):
        assert all(caution.text in seen for caution in reference.cautions(where))


def test_the_page_does_not_grow_with_the_log(made: Callable[..., FieldMap], text: str) -> None:
    """80,000 records on one page: below 400 kB, because drawings do not grow with the log."""
    assert len(text.encode()) < 150_000
    assert len(page(made((160, 240), 80_000)).encode()) < 400_000


def test_cleaning_is_told_where_people_look(field_map: FieldMap, text: str) -> None:
    """Warnings stand in sight, once; four drawings of the cleaning, each with words for who cannot see them."""
    seen = words_in(text)
    for note in field_map.cleaning.notes:
        assert seen.count(note) == 1
    for start in (
        "Map of flagged records",
        "Histograms of yield",
        "Curve of how much neighbouring passes differ over the delay tried for flow",
    ):
        assert f'aria-label="{start}' in text
    assert "Moisture was read 11.0 s late (9.2 to 12.8 s, 9 times in 10) and was moved by that. Moisture read late." in seen


def test_provenance_names_inputs_version_and_changes(field_map: FieldMap, text: str) -> None:
    """SHA-256 of each input, and only settings that differ."""
    seen = words_in(text)
    assert all(digest in seen for digest in field_map.inputs.values())
    assert "clean.turn50 deg45 deg" in seen
    assert "clean.pass_start" not in seen


def test_hostile_text_appears_letter_for_letter(hostile_map: FieldMap, hostile: str) -> None:
    """Name, machine, header, notes and input names: text, and nothing else."""
    text = page(hostile_map)
    assert "<script" not in text
    assert "<img" not in text
    assert words_in(text).count(hostile) >= 8


def test_a_field_without_counts_says_that_nothing_is_known(field_map: FieldMap) -> None:
    """No loss, no surface, no stops: no number is invented."""
    bare = dataclasses.replace(
        field_map,
        loss=dict.fromkeys(field_map.loss, NOTHING),
        loss_of_yield_pct=dict.fromkeys(field_map.loss, NOTHING),
        losses=field_map.losses.iloc[:0],
        surfaces={},
        zones=field_map.zones.iloc[:0],
    )
    seen = words_in(page(bare))
    assert "Loss is not known" in seen
    assert "There is no map of loss: nothing was counted." in seen
    assert "No zone is drawn" in seen
    assert "nan" not in seen.lower().replace("thenand", "")
