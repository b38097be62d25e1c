"""Drawings as elements of a page: same numbers, same bytes, no text from files in them."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import markupsafe
import matplotlib
from matplotlib.figure import Figure

__all__ = ["HAIR", "INK", "MARK", "SOFT", "Drawn", "inline_svg", "looks"]

INK, SOFT, MARK, HAIR = "#1a1712", "#5b5446", "#0b4f6c", "#d3cbc3"

# Written into matplotlib's settings only while a drawing is made.
_LOOK: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "lossmap",
    "font.family": "sans-serif",
    "font.size": 13.0,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 1.2,
    "axes.unicode_minus": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": INK,
    "ytick.color": INK,
}


@dataclass(frozen=True)
class Drawn:
    """A drawing and the words that go below it."""

    svg: markupsafe.Markup
    caption: str


@contextmanager
def looks() -> Iterator[None]:
    """The look that all drawings share, for as long as one is made."""
    with matplotlib.rc_context(_LOOK):
        yield


def inline_svg(figure: Figure, name: str, alt: str = "") -> markupsafe.Markup:
    """The drawing as an element: no prolog, no date, ids of its own so that many can share a page.

    Parameters
    ----------
    figure : Figure
    name : str
        Goes before every id; where there is no `alt`, the caption ``name-caption`` is the drawing's text.
    alt : str
        What the drawing shows, for those who do not see it.
    """
    out = io.StringIO()
    nothing: dict[str, Any] = {"Date": None, "Creator": None, "Format": None, "Type": None}
    figure.patch.set_visible(False)
    for axes in figure.axes:
        axes.patch.set_visible(False)
    figure.savefig(out, format="svg", metadata=nothing)
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r'(id="|href="#|url\(#)', rf"\g<1>{name}-", text)
    said = f'aria-label="{markupsafe.escape(alt)}"' if alt else f'aria-labelledby="{name}-caption"'
    return markupsafe.Markup(text.replace("<svg ", f'<svg role="img" {said} ', 1))
