"""Templates escape, and JSON cannot leave its element."""

from __future__ import annotations

import json

import jinja2
import pytest

from lossmap.report.templates import filled, json_block


def test_json_block_holds_no_markup_and_reads_back(hostile: str) -> None:
    """No angle bracket, ampersand or line separator is left; the value is the same."""
    content = {"note": hostile + "</script>\u2028\u2029"}
    block = str(json_block(content))
    assert not set("<>&\u2028\u2029") & set(block)
    assert json.loads(block) == content


def test_nan_is_a_bug_not_a_value() -> None:
    """A page's JSON never holds NaN."""
    with pytest.raises(ValueError, match="Out of range float"):
        json_block({"value": float("nan")})


def test_a_name_the_page_lacks_is_a_bug() -> None:
    """A forgotten value stops the build instead of leaving a hole in the page."""
    with pytest.raises(jinja2.UndefinedError):
        filled("report.html.j2", title="x")
