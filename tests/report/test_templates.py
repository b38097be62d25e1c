"""Templates escape, and JSON cannot leave its element."""

from __future__ import annotations

import base64
import dataclasses
import json
from pathlib import Path

import jinja2
import pytest

from lossmap.base.field import FieldMap
from lossmap.report.map import webmap
from lossmap.report.page import page
from lossmap.report.stops import count_sheet
from lossmap.report.templates import filled, json_block, policy, script


def test_json_block_holds_no_markup_and_reads_back(hostile: str) -> None:
    """No angle bracket, ampersand or line separator is left; the value is the same."""
    content = {"note": hostile + "</script>\u2028\u2029"}
    block = str(json_block(content))
    assert not set("<>&\u2028\u2029") & set(block)
    assert json.loads(block) == content


def test_signs_that_no_page_may_hold_are_replaced(field_map: FieldMap) -> None:
    """Bells, escapes, old control codes and half characters of a file's text stand as the sign for what cannot be shown."""
    noted = dataclasses.replace(field_map, notes=("a\x07b\x1bc\x85d\ud83de\ufdd0f\tg\nh",))
    assert "a\ufffdb\ufffdc\ufffdd\ufffde\ufffdf\tg\nh" in page(noted)


def test_nan_is_a_bug_not_a_value() -> None:
    """A page's JSON never holds NaN."""
    with pytest.raises(ValueError, match="Out of range float"):
        json_block({"value": float("nan")})


def test_a_name_the_page_lacks_is_a_bug() -> None:
    """A forgotten value stops the build instead of leaving a hole in the page."""
    with pytest.raises(jinja2.UndefinedError):
        filled("report.html.j2", title="x")


def test_the_policy_names_what_may_run() -> None:
    """Without scripts none may run; with them those of these hashes (RFC 4634's SHA-256 of "abc", from memory), and no host in either."""
    assert policy() == "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
    digest = base64.b64encode(bytes.fromhex("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")).decode()
    assert f"style-src 'unsafe-inline'; script-src 'sha256-{digest}'; base-uri 'none'" in policy(["abc"])


@pytest.mark.parametrize(("room", "parts"), [("map", webmap.SCRIPT), ("sheet", count_sheet.SCRIPT)])
def test_a_script_has_every_part_that_lies_in_its_room(root: Path, room: str, parts: tuple[str, ...]) -> None:
    """A file that nobody named would be missed without a word; what is put together is one function."""
    assert sorted(parts) == sorted(file.stem for file in (root / "lossmap" / "report" / "assets" / room).iterdir())
    whole = script(room, parts)
    assert whole.startswith('(function () {\n"use strict";\n')
    assert whole.endswith("})();\n")
