"""What headers say: trade words, also cut short, and the unit written in them."""

from __future__ import annotations

import functools
import re

from lossmap.base.units import same_kind

__all__ = ["cut_short", "header_words", "unit_hint", "unit_in_header"]

_UNIT_BRACKETS = re.compile(r"[\(\[]\s*([^\)\]]+?)\s*[\)\]]")
_SPLIT = re.compile(r"[^A-Za-z0-9%²]+")
# fmt: off
_TAIL_UNITS = frozenset([
    "lb/s", "kg/s", "t/h", "bu/ac", "lb/ac", "kg/ha", "t/ha", "q/ha", "mph", "kmh", "km/h", "m/s", "kn", "deg", "m", "ft", "in", "cm", "mm",
    "s", "ms", "%", "pct", "percent", "ppm", "fraction", "ft2", "m2", "g", "acre",
])
# fmt: on


@functools.lru_cache(maxsize=10_000)
def header_words(column: str) -> str:
    """A header as plain lower-case words, without the unit in it: "Swath Width(ft)" is "swath width"."""
    words = _words(_UNIT_BRACKETS.sub(" ", column))
    while len(words) > 1 and _tail_unit(words):
        words = words[: -len(_tail_unit(words).split("/"))]
    return " ".join(words)


def unit_in_header(column: str, to: str, bushel_lb: float | None = None) -> str | None:
    """The unit a header states, in brackets or as its last words, if it measures what `to` measures."""
    for inside in _UNIT_BRACKETS.findall(column):
        if same_kind(inside, to, bushel_lb):
            return str(inside)
    tail = _tail_unit([word for word in _SPLIT.split(column) if word])
    return tail if tail and same_kind(tail, to, bushel_lb) else None


def cut_short(column: str, phrase: str) -> int | None:
    """How many parts of a header are left over if it is `phrase` cut short, as old table formats do; None if it is not.

    A header of at most ten letters whose parts are the phrase's words with vowels, or the
    end, taken out: "yld_vl_d" is "yield volume dry", "durtn_s" is "duration" with "s" left
    over. ("latitude" and "altitude" share their consonants: first letters must agree.)
    """
    parts, words = _words(column), phrase.split()
    if len(column) > 10 or not parts or len(parts[0]) < 3 or len(parts) < len(words):
        return None
    if all(_is_short_of(part, word) for part, word in zip(parts, words, strict=False)):
        return len(parts) - len(words)
    return None


def unit_hint(column: str, phrase: str) -> str:
    """What a header cut short has left of its unit: "f" of "dstnc_f", "lbs" of "flw_lbs"."""
    return "".join(_words(column)[len(phrase.split()) :])


def _words(text: str) -> list[str]:
    return [word for word in _SPLIT.split(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).lower()) if word]


def _is_short_of(part: str, word: str) -> bool:
    """Whether `part` is the start of `word`, or the start of it with vowels taken out."""
    bare_word, bare_part = (text[0] + re.sub(r"[aeiou]", "", text[1:]) for text in (word, part))
    return part[0] == word[0] and len(part) <= len(word) and bare_word.startswith(bare_part)


def _tail_unit(words: list[str]) -> str:
    for count in (2, 1):
        tail = "/".join(word.lower() for word in words[-count:])
        if len(words) > count and tail in _TAIL_UNITS:
            return tail
    return ""
