"""The JSON that a map leaves beside its pages, as a season reads it back: whole and as written, or one refusal with every fault."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, TypeVar

import pydantic

from lossmap.base.errors import ReadError, SettingsError, shown
from lossmap.base.settings import build

__all__ = ["Count", "Known", "NeverNegative", "Number", "Positive", "limits", "one_of", "read_result", "result_bytes"]

REMEDY = "map the field again"
#: A file of ours holds some 10 kB; one of more than this is none.
MOST_BYTES = 10_000_000
#: What a map counts is never more.
MOST_COUNTED = 10**12

Result = TypeVar("Result", bound=pydantic.BaseModel)


def read_result(model: type[Result], file: Path) -> Result:
    """What a JSON file of a field's results holds, as a `model`.

    Raises
    ------
    ReadError
        There is no such file, it is not JSON, or it holds what no map has written; lists every fault.
    """
    where = f"{file.parent.name}/{file.name}"
    raw = result_bytes(file)
    try:
        content = json.loads(raw.decode("utf-8"))
    except (ValueError, RecursionError) as fault:
        raise ReadError(f"{where}: is not JSON ({shown(fault, 120)}); {REMEDY}") from fault
    if not isinstance(content, dict):
        raise ReadError(f"{where}: holds {type(content).__name__}, not a table; {REMEDY}")
    try:
        return build(model, content, where)
    except SettingsError as fault:
        raise ReadError("\n".join(f"{line}; {REMEDY}" for line in str(fault).splitlines())) from fault


def result_bytes(file: Path) -> bytes:
    """A file of a field's results as it lies there.

    Raises
    ------
    ReadError
        It cannot be read, or is larger than any that a map writes.
    """
    where = f"{file.parent.name}/{file.name}"
    try:
        with file.open("rb") as opened:
            raw = opened.read(MOST_BYTES + 1)
    except OSError as fault:
        raise ReadError(f"{where}: cannot be read ({fault.strerror or fault}); {REMEDY}") from fault
    if len(raw) > MOST_BYTES:
        raise ReadError(f"{where}: is larger than {MOST_BYTES / 1e6:.0f} MB; {REMEDY}")
    return raw


# --- kinds of values ----------------------------------------------------------------------------


def limits(least: float, most: float) -> pydantic.AfterValidator:
    """Refuse numbers beyond what any field has: sums and powers of what is let in must stay finite."""

    def inside(value: float) -> float:
        if not least <= value <= most:
            raise ValueError(f"must be between {least:g} and {most:g} (is {shown(value)})")
        return value

    return pydantic.AfterValidator(inside)


def one_of(*names: str) -> pydantic.AfterValidator:
    """Refuse all but these words."""

    def known(name: str) -> str:
        if name not in names:
            raise ValueError(f"is none of {', '.join(names)}")
        return name

    return pydantic.AfterValidator(known)


def _positive(value: float) -> float:
    if value <= 0:
        raise ValueError(f"must be above 0 (is {shown(value)})")
    return value


def _never_negative(value: float) -> float:
    if value < 0:
        raise ValueError(f"must be at least 0 (is {shown(value)})")
    return value


def _countable(value: int) -> int:
    if not 0 <= value <= MOST_COUNTED:
        raise ValueError("must be a number of things counted (has more digits)" if value > 0 else "must be at least 0")
    return value


Number = Annotated[float, pydantic.Field(allow_inf_nan=False, strict=True)]
Positive = Annotated[Number, pydantic.AfterValidator(_positive)]
NeverNegative = Annotated[Number, pydantic.AfterValidator(_never_negative)]
Count = Annotated[int, pydantic.Field(strict=True), pydantic.AfterValidator(_countable)]
#: null stands for what nobody knows.
Known = Number | None
