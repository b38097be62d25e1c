"""Numbers of the sources named on a page, and advice that carries them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from lossmap.base import reference
from lossmap.base.reference import Advice
from lossmap.report.words import Words

__all__ = ["Footnotes"]


class Footnotes:
    """Numbers of the sources named on one page, in the order in which they are first named."""

    def __init__(self) -> None:
        self._keys: list[str] = []

    def numbers(self, keys: Iterable[str]) -> list[int]:
        """The numbers of `keys`, new ones given to those not named before."""
        wanted = list(dict.fromkeys(keys))
        self._keys += [key for key in wanted if key not in self._keys]
        return sorted(self._keys.index(key) + 1 for key in wanted)

    def under(self, text: str, keys: Iterable[str]) -> dict[str, Any]:
        """A sentence with its numbers."""
        return {"text": text, "notes": self.numbers(keys)}

    def advice(self, rows: Iterable[Advice], words: Words) -> dict[str, list[dict[str, Any]]]:
        """What to look at, each row with its numbers: what can be done ``now``, and what only ``later``, for the next season."""
        out: dict[str, list[dict[str, Any]]] = {"now": [], "later": []}
        for row in rows:
            said = {"look_at": words.told(row.look_at), "but": words.told(row.but), "notes": self.numbers(row.keys)}
            out["now" if row.when == "now" else "later"].append(said)
        return out

    def titles(self) -> list[str]:
        """What stands behind each number, from 1 on."""
        return [reference.sources()[key] for key in self._keys]
