"""The count sheet as a file: whole, quiet, the same each time, and right on paper."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from typing import Any

import pytest
import shapely

from lossmap.base import reference
from lossmap.base.estimates import NOTHING
from lossmap.base.field import FieldMap
from lossmap.base.settings import Settings, build
from lossmap.base.tables import POSITIONS
from lossmap.report.stops.count_sheet import LETTER, count_sheet
from lossmap.report.stops.plan import StopsPlan


class Read(HTMLParser):
    """Text of a page by element, without its scripts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.scripts: list[str] = []
        self.tags: list[str] = []
        self._in_script = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        """Keep the tag, and whether a script of the page begins."""
        self.tags.append(tag)
        self._in_script = tag == "script" and dict(attrs).get("type") != "application/json"

    def handle_data(self, data: str) -> None:
        """Keep what is read, or what runs."""
        (self.scripts if self._in_script else self.texts).append(data)
        self._in_script = False

    @property
    def text(self) -> str:
        """All that is read, in one line."""
        return " ".join(" ".join(self.texts).split())


def for_script(page: str) -> dict[str, Any]:
    """What the page's script is given."""
    return json.loads(page.split('<script type="application/json" id="sheet-words">')[1].split("</script>")[0])


def with_facts(plan: StopsPlan, **facts: Any) -> StopsPlan:
    """The same plan for a field of other facts."""
    field = plan.field
    changed = field.facts.model_copy(update=facts)
    return dataclasses.replace(plan, field=dataclasses.replace(field, facts=changed, crop=reference.crop(changed.crop)))


def metric(plan: StopsPlan) -> StopsPlan:
    """The same plan in the other units."""
    return dataclasses.replace(plan, settings=build(Settings, {"report": {"units": "metric"}}, "made.toml"))


def test_same_plan_same_bytes(plan: StopsPlan) -> None:
    """No clock, no chance; and small enough for any mail."""
    page = count_sheet(plan)
    assert page == count_sheet(plan)
    assert len(page) < 120_000


def test_it_runs_its_own_two_scripts_and_asks_for_nothing(plan: StopsPlan) -> None:
    """The policy allows no source but data, and names the hash of each script there is; no address stands in the page."""
    page = count_sheet(plan)
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert policy
    assert policy[1].startswith("default-src &#39;none&#39;; img-src data:;")
    scripts = Read(page).scripts
    hashes = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in scripts]
    assert re.findall(r"sha256-([^&]+)&#39;", policy[1]) == hashes
    assert len(hashes) == 2
    assert not re.search(r"https?://|\bsrc=|@import|url\(|\bfetch\(|XMLHttpRequest|sendBeacon", page)


def test_cautions_come_before_any_box(plan: StopsPlan) -> None:
    """Counting, fire, and whose word comes first, all of them, at the top; the first two again at each stop's form."""
    page = Read(count_sheet(plan)).text
    texts = [caution.text for where in ("count", "fire", "adjust") for caution in reference.cautions(where)]
    places = [page.index(text) for text in texts]
    assert places == sorted(places)
    assert places[-1] < page.index("Use where I stand")
    assert [page.count(text) for text in texts] == [2, 2, *[1] * (len(texts) - 2)]


def test_every_stop_has_its_row_of_empty_boxes(plan: StopsPlan) -> None:
    """Name, place, reason; a box a frame at each position and two for ears; rows for places of one's own."""
    page = count_sheet(plan)
    table = page.split('<table class="boxes-table">')[1].split("</table>")[0]
    assert re.findall(r'<th scope="rowgroup" rowspan="2">([^<]+)</th>', table) == ["P4", "P5", "P6", "A1", "A2", "A3", "A4"]
    frames = [4, 4, 1, 4, 4, 4, 4]
    assert table.count("<span></span>") == sum(3 * number + 2 for number in frames)
    first = for_script(page)["stops"][0]
    assert f"{first['lat']:.5f}, {first['lon']:.5f}<br>Among the fastest ground (5.8 mph), in the north-east of the field<" in table


def test_a_crop_without_ears_has_no_box_for_them(plan: StopsPlan) -> None:
    """Soybean: no ears in the form, on paper, or for the script."""
    page = count_sheet(with_facts(plan, crop="soybean"))
    assert "Whole ears" not in page
    assert "Ears in front" not in page
    assert for_script(page)["ears"] is None
    assert "seed in pods on the stubble" in page


@pytest.mark.parametrize("crop", ["corn", "canola"])
def test_how_to_count_is_the_tables(plan: StopsPlan, crop: str) -> None:
    """Every sentence for this crop and position, none of another's."""
    text = Read(count_sheet(with_facts(plan, crop=crop))).text
    for position in (*POSITIONS, "all"):
        assert reference.counting(position, crop)
        for sentence in reference.counting(position, crop):
            assert sentence in text
    assert ("Small seed is weighed" in text) == (crop == "canola")


def test_what_a_seed_is_worth(plan: StopsPlan) -> None:
    """1 bu/ac of corn is 2 kernels a square foot at a handbook's seed (KSU): the range is the seed's; 100 kg/ha in metric."""
    mass = dataclasses.replace(plan.seed_mass_g, mean=291.6, low=233.3, high=343.0)
    text = Read(count_sheet(dataclasses.replace(plan, seed_mass_g=mass))).text
    assert "1 bu/ac is about 2.0 seeds a square foot (1.7 to 2.5: seed differs in size)." in text
    text = Read(count_sheet(metric(dataclasses.replace(plan, seed_mass_g=mass)))).text
    assert "100 kg/ha is about 34 seeds a square metre (29 to 43: seed differs in size)." in text


def test_without_a_seed_mass_nothing_is_reckoned(plan: StopsPlan) -> None:
    """No sentence on paper, no number for the script."""
    page = count_sheet(dataclasses.replace(plan, seed_mass_g=NOTHING))
    assert "seed differs in size" not in page
    assert for_script(page)["mass"] is None


def test_residue_in_a_windrow_is_said(plan: StopsPlan) -> None:
    """30 ft on 5 ft lies six times as dense (worked example of SG03 and CCC); spread over the header's width there is nothing to say."""
    assert "lies 6 times as dense" in Read(count_sheet(with_facts(plan, discharge_width=1.524))).text
    assert for_script(count_sheet(with_facts(plan, discharge_width=1.524)))["ratio"] == pytest.approx(6.0)
    assert "times as dense" not in count_sheet(plan)


def test_ears_are_looked_for_on_a_hundredth_of_an_acre(plan: StopsPlan) -> None:
    """14.52 ft along a header of 30 ft (published: 15 ft, HANNA, rounded); 40 m2 in metric."""
    assert "14.5 ft along the header's 30 ft make 435.6 sq ft." in Read(count_sheet(plan)).text
    assert "4.4 m along the header's 9 m make 40 m2." in Read(count_sheet(metric(plan))).text


def test_units_follow_the_setting(plan: StopsPlan) -> None:
    """The frame's column carries its unit, so that a file cannot be read in the other."""
    us, si = for_script(count_sheet(plan))["frame"], for_script(count_sheet(metric(plan)))["frame"]
    assert (us["column"], us["unit"], us["usual"]) == ("frame_ft2", "sq ft", 1.0)
    assert us["m2"] == pytest.approx(0.09290304)
    assert (si["column"], si["unit"], si["m2"]) == ("frame_m2", "m2", 1.0)


def test_each_plan_has_its_own_shelf(plan: StopsPlan) -> None:
    """Counts kept for one plan, crop or unit never turn up on another's sheet; the same plan finds its own again."""
    fewer = dataclasses.replace(plan, stops=plan.stops.iloc[:2])
    others = [fewer, metric(plan), with_facts(plan, crop="soybean")]
    shelves = [for_script(count_sheet(one))["sheet"] for one in (plan, plan, *others)]
    assert shelves[0] == shelves[1]
    assert len(set(shelves[1:])) == 4


def test_no_name_covers_another_on_the_sketch(plan: StopsPlan) -> None:
    """Two stops a few metres apart: their names lie on different sides, clear of both spots."""
    near = plan.stops.iloc[:2].copy()
    near.geometry = shapely.points([[431_200.0, 4_640_200.0], [431_212.0, 4_640_203.0]])
    page = count_sheet(dataclasses.replace(plan, stops=near))
    labels = re.findall(r'<text class="bar-text name" x="([\d.]+)" y="([\d.]+)">', page)
    spots = re.findall(r'<circle class="stops" cx="([\d.]+)" cy="([\d.]+)"', page)
    boxes = [shapely.box(float(x), float(y) - LETTER[1], float(x) + 2 * LETTER[0], float(y)) for x, y in labels]
    assert len(boxes) == len(spots) == 2
    assert not boxes[0].intersects(boxes[1])
    assert not any(box.intersects(shapely.Point(float(x), float(y)).buffer(9)) for box in boxes for x, y in spots)


def test_names_stay_inside_the_sketch(plan: StopsPlan) -> None:
    """Stops on the edge of the field, with others beside them: no name begins left of the drawing or ends right of it."""
    many = plan.stops.iloc[[0, 1, 2, 0, 1, 2]].copy()
    west, south, east, north = plan.outline.bounds
    spots = [[at, (south + north) / 2 + lift] for at in (west, east) for lift in (0.0, 12.0, 24.0)]
    many.geometry = shapely.points(spots)
    many["stop"] = ["P11", "P12", "P13", "P21", "P22", "P23"]
    page = count_sheet(dataclasses.replace(plan, stops=many))
    lefts = [float(x) for x in re.findall(r'<text class="bar-text name" x="(-?[\d.]+)"', page)]
    assert len(lefts) == 6
    assert min(lefts) >= 0
    (width,) = re.findall(r'viewBox="0 0 ([\d.]+) ', page)
    assert max(lefts) + 3 * LETTER[0] <= float(width)


def test_without_an_edge_there_is_no_sketch(plan: StopsPlan) -> None:
    """The table stands alone."""
    page = count_sheet(dataclasses.replace(plan, outline=None))
    assert "<svg" not in page
    assert for_script(page)["sketch"] is None
    assert page.count('class="where"') == 7


def test_hostile_text_is_text(make_plan: Callable[..., StopsPlan], hostile_map: FieldMap, hostile: str) -> None:
    """Markup and template code in a field's name and a note stand there letter for letter, and make no element."""
    plan = make_plan(hostile_map, notes=(hostile,))
    page = count_sheet(plan)
    found = Read(page)
    assert hostile in "".join(found.texts)
    assert found.tags.count("script") == 3
    assert "img" not in found.tags
    assert "49" not in found.text.split("Count sheet")[0]


def test_a_file_is_named_for_the_field_and_nothing_else(plan: StopsPlan) -> None:
    """What a folder's name holds beyond letters, digits, hyphens and underscores stays out of the name of a download."""
    strange = dataclasses.replace(plan, field=dataclasses.replace(plan.field, folder=plan.field.folder / '..odd "name" \N{SNOWMAN}'))
    assert for_script(count_sheet(strange))["file"] == "odd-name"
