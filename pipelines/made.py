"""What a flow hands back: where its results lie, and what they say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

__all__ = ["Made"]


@dataclass(frozen=True)
class Made:
    """The results of one run.

    Attributes
    ----------
    file : Path
        The one to open first; the others lie beside it.
    sentence : str
        What they say in one line.
    values : mapping
        The same as numbers: the content of summary.json, or of a plan of stops.
    notes : tuple of str
        What was lacking, and what followed from it.
    """

    file: Path
    sentence: str
    values: Mapping[str, Any]
    notes: tuple[str, ...]
