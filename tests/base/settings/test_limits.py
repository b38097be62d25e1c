"""What a setting may be, in the words in which people type it."""

from __future__ import annotations

from typing import Annotated, Literal

import pydantic
import pytest

from lossmap.base.settings import Percent, Seconds, Strict, Typed
from lossmap.base.settings.limits import limits, unit_of


class Pump(Strict):
    """A setting of each kind of limit."""

    pause: Seconds = pydantic.Field("3 s", ge=0, le=604_800)
    full: Percent | None = pydantic.Field(None, ge=0.5)
    strokes: int = pydantic.Field(5, le=1000)
    side: Literal["left", "right"] = "left"
    name: str = ""
    depth: Annotated[float, Typed("m")] = pydantic.Field("3 m", gt=1, lt=40)


@pytest.mark.parametrize(
    ("name", "words", "unit"),
    [
        ("pause", "0 to 604,800 s", " s"),
        ("full", "at least 0.5 %", " %"),
        ("strokes", "at most 1,000", ""),
        ("side", '"left" or "right"', ""),
        ("name", "", ""),
        ("depth", "more than 1, up to 40 m", " m"),
    ],
)
def test_limits_stand_in_the_unit_that_is_kept(name, words, unit):
    """Both ends, one of them, the words of a choice, or nothing; also where a setting may be left out."""
    entry = Pump.model_fields[name]
    assert limits(entry) == words
    assert unit_of(entry) == unit
