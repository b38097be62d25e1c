"""Five classes a layer, with edges that people can say, and the colours they are drawn in.

Five steps of one hue each, made for a screen in sunlight: the steps of lightness are equal
*after* the light that the glass throws back is added, and every pair stays apart for
colour-blind eyes and in grey print. No layer runs from red over yellow to green.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats
from lossmap.report.words import Scale, plain

__all__ = ["CLASSES", "RAMPS", "Classes", "classes", "spans"]

CLASSES = 5

#: Layer to its five colours, light (little) to dark (much).
RAMPS: dict[str, tuple[str, ...]] = {
    "loss": ("#ffefd0", "#ffc07b", "#ff8336", "#e13a26", "#780120"),
    "sure": ("#f4f0ec", "#d3cbc3", "#aca49d", "#7f7871", "#3c3834"),
    "yield": ("#f0f6b9", "#b1da6c", "#75b654", "#2a8b38", "#004321"),
    "moisture": ("#adfffd", "#11e1f6", "#00b5d9", "#0283ad", "#003d5e"),
    "speed": ("#ffebf9", "#ffb3fe", "#ce8de9", "#8d67c3", "#383268"),
}

# Steps between edges that people can say: these times a power of ten.
_NICE = (1.0, 2.0, 2.5, 5.0)


@dataclass(frozen=True)
class Classes:
    """Inner edges of a layer's classes, in the unit people read.

    Attributes
    ----------
    edges : tuple of float
        Rising, one fewer than there are classes; none where the layer is one value.
    places : int
        Decimals the edges need.
    colours : tuple of str
        One a class.
    """

    edges: tuple[float, ...]
    places: int
    colours: tuple[str, ...]

    def of(self, shown: Floats) -> npt.NDArray[np.uint8]:
        """Class of each value [in the unit people read]; 255 where it is NaN."""
        found = np.digitize(shown, self.edges).astype(np.uint8)
        found[np.isnan(shown)] = 255
        return found

    def edge_texts(self) -> tuple[str, ...]:
        """The edges as text."""
        return tuple(plain(edge, self.places) for edge in self.edges)

    def texts(self) -> tuple[str, ...]:
        """Each class in words: "under 1.0", "1.0 to 1.5", ..., "2.5 and more"."""
        return spans(self.edge_texts()) or ("everywhere the same",)


def spans(edges: Sequence[str]) -> tuple[str, ...]:
    """What lies between edges, in words; nothing without edges."""
    if not edges:
        return ()
    between = [f"{low} to {high}" for low, high in itertools.pairwise(edges)]
    return (f"under {edges[0]}", *between, f"{edges[-1]} and more")


def classes(values: Floats, scale: Scale, layer: str, doubt: float = 0.0) -> Classes:
    """Classes for `values` [SI] of `layer`, so that most of the field is spread over them.

    Equal steps between the 5 % and the 95 % value, rounded to numbers people can say: a
    farmer reads "1.5 to 2.0", never "1.47 to 1.93". No step is finer than half of `doubt`
    (half the usual interval, SI): five bold colours for differences that nobody can vouch
    for would say more than is known. One value everywhere is one class.
    """
    shown = np.asarray(values, dtype=float)[np.isfinite(values)] * scale.factor
    if shown.size == 0 or np.ptp(shown) <= 1e-4 * max(abs(float(shown.mean())), 1e-9):
        return Classes((), scale.most, (RAMPS[layer][2],))
    low, high = np.quantile(shown, (0.05, 0.95))
    step = _nice(max((high - low) / CLASSES or float(np.ptp(shown)) / CLASSES, doubt * scale.factor / 2))
    first = round(((low + high) / 2 - step * (CLASSES - 2) / 2) / step) * step
    if first <= 0 <= shown.min():
        first = step
    edges = tuple(round(first + step * number, 10) for number in range(CLASSES - 1))
    return Classes(edges, _places(step), RAMPS[layer])


def _nice(step: float) -> float:
    """The number people can say that is nearest to `step`, by ratio."""
    power = 10.0 ** math.floor(math.log10(step))
    return min((nice * times for nice in _NICE for times in (power, 10 * power)), key=lambda one: abs(math.log(one / step)))


def _places(step: float) -> int:
    """Decimals that show `step` exactly (0.25 needs two, 0.5 one, 20 none)."""
    return next(places for places in range(12) if math.isclose(round(step, places), step, rel_tol=1e-9))
