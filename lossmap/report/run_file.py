"""run.toml: what made these files, so that the same can be made again.

The settings stand in it as people type them (``cell = "5 m"``), so the file
can be given as a config, of which its ``[settings]`` are taken.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.metadata
import json
import re
from collections.abc import Mapping
from typing import Any, get_args

import pydantic

from lossmap.base.field import FieldMap
from lossmap.base.settings import (
    Degrees,
    DollarsPerHour,
    Hectares,
    Metres,
    MetresPerSecond,
    Percent,
    Seconds,
    Settings,
)

__all__ = ["as_toml", "as_typed", "changed", "run", "version"]


def run(field_map: FieldMap, seconds: Mapping[str, float], results: Mapping[str, bytes]) -> str:
    """The content of run.toml.

    Parameters
    ----------
    field_map : FieldMap
    seconds : mapping
        Seconds each stage took, in their order.
    results : mapping
        Files beside it by name, as written, that shall be known again.
    """
    return "# What made the files beside this one. --config takes this file too, and of it [settings].\n" + as_toml(
        {
            "lossmap": version(),
            "field": field_map.field.id,
            "settings": as_typed(field_map.settings),
            "inputs_sha256": dict(field_map.inputs),
            "results_sha256": {name: hashlib.sha256(content).hexdigest() for name, content in results.items()},
            "seconds": {stage: round(float(taken), 3) for stage, taken in seconds.items()},
        }
    )


@functools.cache
def version() -> str:
    """Version of lossmap as installed; "0+tree" where it runs from a bare tree."""
    try:
        return importlib.metadata.version("lossmap")
    except importlib.metadata.PackageNotFoundError:
        return "0+tree"


def as_typed(model: pydantic.BaseModel) -> dict[str, Any]:
    """The model's values as people type them, without those that were not given."""
    out: dict[str, Any] = {}
    for name, entry in type(model).model_fields.items():
        value = getattr(model, name)
        unit = _unit(entry)
        if isinstance(value, pydantic.BaseModel):
            out[name] = as_typed(value)
        elif value is not None:
            out[name] = f"{_short(value)} {unit}" if unit else value
    return out


def _short(value: float) -> str:
    """The shortest text that reads back as the same number."""
    return f"{value:g}" if float(f"{value:g}") == value else repr(value)


def changed(settings: Settings) -> list[tuple[str, str, str]]:
    """Settings that differ from their defaults: dotted key, value, default."""
    used, default = _flat(as_typed(settings)), _flat(as_typed(Settings()))
    return [
        (key, str(used.get(key, "none")), str(default.get(key, "none"))) for key in {**default, **used} if used.get(key) != default.get(key)
    ]


def _flat(values: Mapping[str, Any], prefix: str = "") -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in values.items():
        out |= _flat(value, f"{prefix}{key}.") if isinstance(value, Mapping) else {prefix + key: value}
    return out


# The reader of each typed quantity, by identity, and the unit in which its value is kept.
_READERS = tuple(
    (get_args(typed)[1], unit)
    for typed, unit in (
        (Metres, "m"),
        (MetresPerSecond, "m/s"),
        (Seconds, "s"),
        (Hectares, "ha"),
        (Percent, "%"),
        (Degrees, "deg"),
        (DollarsPerHour, "USD/h"),
    )
)


def _unit(entry: pydantic.fields.FieldInfo) -> str:
    """The unit a setting is typed with; "" where it is a plain number or text."""
    marks = [*entry.metadata, *(mark for part in get_args(entry.annotation) for mark in get_args(part)[1:])]
    return next((unit for reader, unit in _READERS for mark in marks if mark is reader), "")


def as_toml(values: Mapping[str, Any]) -> str:
    """Nested mappings of text, numbers and truth values as TOML; mappings become tables."""
    return "\n".join(_table(values, ())).strip() + "\n"


def _table(values: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    """Lines of one table: its own keys before its sub-tables, as TOML wants it."""
    lines = [f"{_key(name)} = {_value(value)}" for name, value in values.items() if not isinstance(value, Mapping)]
    if path and (lines or not values):
        lines = ["", f"[{'.'.join(_key(part) for part in path)}]", *lines]
    for name, value in values.items():
        if isinstance(value, Mapping):
            lines += _table(value, (*path, name))
    return lines


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _value(name)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    # A TOML basic string is a JSON string, but for DEL, which JSON leaves bare.
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
