"""Reasons for doubting a record, in the few groups that a drawing can keep apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["GROUPS", "FlagGroup", "group_of"]


@dataclass(frozen=True)
class FlagGroup:
    """Reasons that share a mark.

    Attributes
    ----------
    key, title : str
        A code of our own; what stands in the key.
    reasons : tuple of str
        Of `tables.FLAGS`.
    colour : str
    shape : str
        Path of the mark around 0, 0, about six units wide.
    filled : bool
        Whether the path is an area or a stroke.
    """

    key: str
    title: str
    reasons: tuple[str, ...]
    colour: str
    shape: str
    filled: bool


#: Told apart by shape first: paper may be grey, and eyes may not see a hue.
GROUPS: tuple[FlagGroup, ...] = (
    FlagGroup(
        "position",
        "position",
        ("bad position", "duplicate", "position jump", "outside field"),
        "#1a1712",
        "M-2.6-2.6L2.6 2.6M-2.6 2.6L2.6-2.6",
        False,
    ),
    FlagGroup("idle", "not working", ("not working",), "#8d8574", "M-1.5-1.5H1.5V1.5H-1.5Z", True),
    FlagGroup("ends", "pass ends and short passes", ("short pass", "pass start", "pass end"), "#0b6a94", "M0-2.8V2.8M-2.8 0H2.8", False),
    FlagGroup("speed", "speed change", ("speed change",), "#b3267a", "M0-3.6L3.3 2.4H-3.3Z", True),
    FlagGroup("overlap", "swath already cut", ("swath already cut",), "#6a4fc2", "M-2.6-2.6H2.6V2.6H-2.6Z", False),
    FlagGroup(
        "values",
        "values",
        ("beyond crop limits", "unlike the field", "unlike its neighbours", "no yield"),
        "#d2691e",
        "M0-3.8L3.8 0L0 3.8L-3.8 0Z",
        True,
    ),
)

_BY_REASON: Mapping[str, FlagGroup] = {reason: group for group in GROUPS for reason in group.reasons}


def group_of(reason: str) -> FlagGroup | None:
    """The group of a reason; None for section rows, which lie where their summed record lies and are not drawn."""
    return _BY_REASON.get(reason)
