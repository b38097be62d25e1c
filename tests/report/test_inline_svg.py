"""Drawings as elements of a page."""

from __future__ import annotations

import re

import matplotlib
from matplotlib.figure import Figure

from lossmap.report.inline_svg import inline_svg, looks


def drawn(alt: str = "") -> str:
    """One line."""
    with looks():
        figure = Figure(figsize=(2, 2))
        figure.add_axes((0.2, 0.2, 0.7, 0.7)).plot([0, 1], [0, 1])
        return inline_svg(figure, "line", alt)


def test_an_element_and_nothing_of_the_day() -> None:
    """Same figure, same bytes; no prolog, no metadata; every id has the drawing's name before it."""
    text = drawn()
    assert text == drawn()
    assert text.startswith("<svg ")
    assert "metadata" not in text
    assert all(one.startswith("line-") for one in re.findall(r'\bid="([^"]+)"', text))


def test_words_for_who_cannot_see_it() -> None:
    """The caption, or text of its own that cannot leave its attribute."""
    assert 'role="img" aria-labelledby="line-caption"' in drawn()
    assert 'aria-label="a &#34;b&#34; &lt;c&gt;"' in drawn('a "b" <c>')


def test_settings_of_matplotlib_come_back() -> None:
    """Also after a drawing that failed."""
    before = dict(matplotlib.rcParams)
    try:
        with looks():
            raise ZeroDivisionError
    except ZeroDivisionError:
        pass
    assert dict(matplotlib.rcParams) == before
