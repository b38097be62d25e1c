"""Labels of fields on a drawing: placed one after another where there is room, so that none covers another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats

__all__ = ["Boxes", "Label", "labels"]

#: ``[box, (left, top, right, bottom)]``
Boxes = npt.NDArray[np.float64]

#: With more fields than this in a drawing their names would be a grey mass: numbers only.
NAMED = 20
#: Of those the first may have their number on another field, if need be.
FIRST = 12
#: Room that the north mark takes at the right and the scale bar below.
NORTH, BAR = 60.0, 38.0
# Size of the letters, and how wide one of them is at most on the average.
TEXT, LETTER = 19.0, 0.6


@dataclass(frozen=True)
class Label:
    """Text with its left end on a line at `y`."""

    text: str
    x: float
    y: float


def labels(called: Sequence[tuple[str, str]], middles: Floats, boxes: Boxes, size: tuple[float, float]) -> tuple[Label, ...]:
    """Number and name of each field where there is room, else its number, else nothing; none covers another."""
    # what may not be covered: north mark, scale bar, then each label as it is placed
    taken = np.array([[size[0] - NORTH, 0, size[0], 92], [0, size[1] - BAR, size[0] / 2, size[1]]])
    found = []
    for at, ((number, name), middle) in enumerate(zip(called, middles, strict=True)):
        for text, clear in _tries(number, name, at, len(called)):
            spot = _room(text, middle, boxes[at], taken, np.delete(boxes, at, axis=0), size, clear)
            if spot is not None:
                taken = np.vstack([taken, spot])
                found.append(Label(text, round(float(spot[0]) + 2, 1), round(float(spot[3]) - 5, 1)))
                break
    return tuple(found)


def _tries(number: str, name: str, at: int, fields: int) -> list[tuple[str, bool]]:
    """What to write, best first, and whether it must be clear of all other fields."""
    if fields > NAMED:
        return [(number, True)] if at >= FIRST else [(number, True), (number, False)]
    return [(f"{number} {_short(name)}", True), (number, True), (number, False)]


def _short(name: str, most: int = 22) -> str:
    return name if len(name) <= most else f"{name[: most - 1]}…"


def _room(text: str, middle: Floats, box: Boxes, taken: Boxes, others: Boxes, size: tuple[float, float], clear: bool) -> Boxes | None:
    """A free box for a text, in its field's middle or round its outline, on as few other fields as can be (on none if `clear`)."""
    wide, high = LETTER * TEXT * len(text) + 4, TEXT + 3
    left, top, right, bottom = box
    x, y = middle
    corners = np.array(
        [
            (x - wide / 2, bottom + 1),
            (x - wide / 2, top - high - 1),
            (right + 3, y - high / 2),
            (left - wide - 3, y - high / 2),
            (right + 2, top - high),
            (right + 2, bottom),
            (left - wide - 2, top - high),
            (left - wide - 2, bottom),
        ]
    )
    if wide <= right - left and high <= bottom - top:
        corners = np.vstack([(x - wide / 2, y - high / 2), corners])
    spots = np.hstack([corners, corners + np.array([wide, high])])
    free = [
        spot for spot in spots[(spots[:, :2] >= 0).all(axis=1) & (spots[:, 2:] <= size).all(axis=1)] if not _overlaps(spot, taken).any()
    ]
    spot = min(free, key=lambda spot: int(_overlaps(spot, others).sum()), default=None)
    return None if spot is None or (clear and _overlaps(spot, others).any()) else spot


def _overlaps(spot: Boxes, taken: Boxes) -> npt.NDArray[np.bool_]:
    return np.asarray((taken[:, 0] < spot[2]) & (spot[0] < taken[:, 2]) & (taken[:, 1] < spot[3]) & (spot[1] < taken[:, 3]))
