"""Every way lossmap says no.

    LossmapError                    catch this to catch any
    ├─ SettingsError (ValueError)   a config, --set or field.toml is wrong; lists every fault
    ├─ ReadError (OSError)          a file cannot be read as what it says it is
    ├─ WriteError (OSError)         a result cannot be written
    ├─ TableError (ValueError)      a table breaks its contract
    ├─ TooLittleData (ValueError)   readable, but it cannot answer: has n, needs m, what to do
    └─ NoReference (LookupError)    no such crop, unit or source; names the known ones

Each also inherits the built-in error a caller would expect. Wording everywhere:
*place: what is wrong (what was found); what to do.*
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

__all__ = [
    "LossmapError",
    "NoReference",
    "ReadError",
    "SettingsError",
    "TableError",
    "TooLittleData",
    "WriteError",
    "near",
    "shown",
]


class LossmapError(Exception):
    """Any refusal of this package; its text is meant for the person who asked."""

    exit_code = 3


class SettingsError(LossmapError, ValueError):
    """A config, a ``--set`` or a field's facts are wrong."""

    exit_code = 2


class ReadError(LossmapError, OSError):
    """A file cannot be read as what it says it is."""


class WriteError(LossmapError, OSError):
    """A result cannot be written where it was asked for."""

    exit_code = 2


class TableError(LossmapError, ValueError):
    """A table breaks its contract (`lossmap.base.tables`)."""


class TooLittleData(LossmapError, ValueError):
    """The input is readable but cannot answer what was asked."""


class NoReference(LossmapError, LookupError):
    """No such crop, unit or source in the reference tables."""

    exit_code = 2


def near(word: str, known: Iterable[str]) -> str:
    """End a refusal with the nearest known word, or with all of them where none is near."""
    # nobody types longer ones, and to compare two takes the product of their lengths
    word, known = word[:80], sorted(one for one in known if len(one) <= 80)
    # a whole word in common ("field corn") says more than letters that look somewhat alike
    shared = [one for one in known if one in re.split(r"[^a-z0-9]+", word.lower().replace("_", " "))]
    alike = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    found = difflib.get_close_matches(word, known, n=1, cutoff=0.8) or shared[:1] or alike
    return f"did you mean {found[0]}?" if found else f"known: {shown(', '.join(known), 500)}"


def shown(value: object, most: int = 60) -> str:
    """A value as it may stand in a message: on one line, printable, and never long."""
    text = "".join(c if c.isprintable() else "�" for c in str(value))
    return text if len(text) <= most else f"{text[: most - 1]}…"
