"""map.html as text; what a browser makes of it is test_browser.py's."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import html
import json
import re
from collections.abc import Callable

import pytest
import shapely

from lossmap.base.field import FieldMap
from lossmap.report.map.webmap import webmap


@pytest.fixture(scope="module")
def text(field_map: FieldMap) -> str:
    """The page."""
    return webmap(field_map)


def test_same_field_same_bytes(field_map: FieldMap, text: str) -> None:
    """A map can be compared with an earlier one."""
    assert webmap(field_map) == text


def test_eighty_thousand_points_stay_under_a_megabyte(made: Callable[..., FieldMap]) -> None:
    """80,000 points and five layers of 53,000 cells: small enough for a mail."""
    big = made((260, 270), 80_000)
    assert len(big.cells) > 53_000
    assert len(webmap(big).encode()) < 1_000_000


def test_what_the_page_leaves_out_is_said(field_map: FieldMap, text: str) -> None:
    """Zones' outlines are drawn nearly; a record far from the field is counted."""
    assert "Outlines of zones are drawn to within 12 ft; zones.geojson holds them cell by cell." in text
    assert "from the field and cannot be drawn" not in text
    points = field_map.points.copy()
    points.loc[7, "geometry"] = shapely.Point(0.0, 0.0)
    page = webmap(dataclasses.replace(field_map, points=points))
    assert "1 record lies far from the field and cannot be drawn." in page


def test_every_script_that_may_run_is_named_by_its_hash(text: str) -> None:
    """The policy lists exactly the page's scripts, and allows no host."""
    policy = html.unescape(re.search(r'Content-Security-Policy" content="([^"]+)"', text).group(1))  # type: ignore[union-attr]
    scripts = re.findall(r"<script>(.*?)</script>", text, flags=re.DOTALL)
    hashes = {base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts}
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert set(re.findall(r"'sha256-([^']+)'", policy)) == hashes
    assert len(scripts) == 4
    assert "unsafe-eval" not in policy


def test_words_stand_in_one_json_block(text: str) -> None:
    """It reads as JSON and holds every stop and zone."""
    block = json.loads(re.search(r'id="map-words">(.*?)</script>', text, flags=re.DOTALL).group(1))  # type: ignore[union-attr]
    assert len(block["stops"]) == 12
    assert [zone["letter"] for zone in block["zones"]] == ["A", "B"]


def test_hostile_text_is_escaped_wherever_it_stands(hostile_map: FieldMap, hostile: str) -> None:
    """No element and no template code of it is left; the text itself is."""
    page = webmap(hostile_map)
    assert "window.hit" not in re.sub(
        r"&lt;script&gt;window\.hit=1|\\u003cscript\\u003ewindow\.hit=1|onerror=window\.hit=1(&gt;|\\u003e)", "", page
    )
    assert "<img src=x" not in page
    assert html.escape(hostile, quote=False).replace('"', "&#34;").replace("'", "&#39;") in page


@pytest.mark.parametrize("missing", ["zones", "losses", "points", "surfaces", "drivers"])
def test_a_field_that_lacks_a_part_still_has_its_page(field_map: FieldMap, missing: str) -> None:
    """Each part may be missing; the page says less, and still holds together."""
    nothing = {} if missing in ("surfaces", "drivers") else getattr(field_map, missing).iloc[:0]
    page = webmap(dataclasses.replace(field_map, **{missing: nothing}))
    assert page.rstrip().endswith("</html>")


def test_metric_readers_meet_no_bushel_or_mile(field_map: FieldMap) -> None:
    """Words of the chosen system only, but for the second unit in the table of classes."""
    settings = field_map.settings.model_copy(
        update={"report": field_map.settings.report.model_copy(update={"units": "metric", "price": None})}
    )
    page = webmap(dataclasses.replace(field_map, settings=settings))
    seen = re.sub(r"<script.*?</script>|<style.*?</style>", "", page, flags=re.DOTALL)
    assert "mph" not in re.sub(r"<details.*?</details>", "", seen, flags=re.DOTALL)
    assert "bu/ac" not in re.sub(r"<details.*?</details>", "", seen, flags=re.DOTALL)
    assert "118 kg/ha" in seen
