"""Settings as text: what a command line lays over a file, and the listing of them all."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from typing import Any

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from lossmap.base.errors import SettingsError, shown
from lossmap.base.settings.choices import Settings
from lossmap.base.settings.limits import limits
from lossmap.base.settings.typed import Strict

__all__ = ["as_toml", "merged", "overridden"]


def overridden(values: Mapping[str, Any], assignments: list[str]) -> dict[str, Any]:
    """`values` with each ``clean.idle="5 s"`` of a command line laid over it.

    The right side is TOML; a bare word that is not (``report.units=metric``) is taken as text.
    """
    for assignment in assignments:
        key, equals, text = assignment.partition("=")
        if not equals or not key.strip():
            raise SettingsError(f'--set {shown(assignment)}: is not KEY=VALUE; write for example --set grid.cell="10 m"')
        try:
            value = tomllib.loads(f"value = {text}")["value"]
        except (ValueError, RecursionError):
            value = text.strip()
        for part in reversed(key.strip().split(".")):
            value = {part: value}
        values = merged(values, value)
    return dict(values)


def merged(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Two nested mappings in one, `above` winning."""
    out = dict(below)
    for key, value in above.items():
        known = out.get(key)
        out[key] = merged(known, value) if isinstance(known, Mapping) and isinstance(value, Mapping) else value
    return out


def as_toml(model: type[Strict] = Settings, command: str = "", without: Collection[str] = ()) -> str:
    """Every setting as a TOML file that a run reads: its reason and limits above, its default beside.

    Parameters
    ----------
    model : type
        `Settings`, or the settings of a farm.
    command : str
        Whose they are, for the first line; empty for all of one field's.
    without : collection of str
        Tables to leave out.
    """
    lines = [f"# Settings of {f'lossmap {command}'.strip()}. Each line is the default; a file needs only what differs."]
    for name, entry in model.model_fields.items():
        if name in without:
            continue
        part = entry.annotation
        if isinstance(part, type) and issubclass(part, Strict):
            lines += ["", f"[{name}]  # {str(part.__doc__).splitlines()[0]}"]
            lines += [line for key, inner in part.model_fields.items() for line in _setting_lines(key, inner)]
        else:
            lines += ["", *_setting_lines(name, entry)]
    return "\n".join(lines)


def _setting_lines(name: str, entry: FieldInfo) -> list[str]:
    """Why it is as it is, and the default; a table that has none shows its heading alone."""
    if entry.default is PydanticUndefined:
        return [f"# {entry.description}", f"# [{name}.CROP]"]
    allowed = limits(entry)
    return [f"# {entry.description}{f' ({allowed})' if allowed else ''}", _default_line(name, entry)]


def _default_line(name: str, entry: FieldInfo) -> str:
    if entry.default is None:
        return f'# {name} = "{(entry.examples or [""])[0]}"'
    return f"{name} = {str(entry.default).lower()}" if isinstance(entry.default, (int, float)) else f'{name} = "{entry.default}"'
