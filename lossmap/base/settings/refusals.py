"""From what was read to a model of settings or facts, or one refusal with every fault in our own words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar, get_args

import pydantic
from pydantic.fields import FieldInfo

from lossmap.base.errors import SettingsError, near, shown
from lossmap.base.settings.limits import limits, unit_of

__all__ = ["build"]

Model = TypeVar("Model", bound=pydantic.BaseModel)


def build(model: type[Model], values: Mapping[str, Any], where: str) -> Model:
    """A `model` from what was read, or one `SettingsError` with every fault in it.

    Parameters
    ----------
    model : type
        A `Strict` model.
    values : mapping
        What a TOML file held.
    where : str
        The file, as it shall stand before each fault.
    """
    try:
        return model.model_validate(values)
    except pydantic.ValidationError as refused:
        wrong = refused.errors()
    try:
        faults = [f"{where}: {_fault(model, fault)}" for fault in wrong]
    except RecursionError as deep:
        raise SettingsError(f"{where}: is nested too deeply; tables stand at most three deep") from deep
    raise SettingsError("\n".join(faults))


def _fault(model: type[pydantic.BaseModel], fault: Mapping[str, Any]) -> str:
    """One fault of pydantic: its place, what is wrong, what to do."""
    *above, last = fault["loc"] or ("",)
    # pydantic puts the names of models between those of keys
    place = [*(part for part in above if not (isinstance(part, str) and part[:1].isupper())), last]
    name = _dotted(place)
    return f"{name}: {_wrong(_model_at(model, place[:-1]), place[-1], name, fault)}"


def _dotted(place: list[Any]) -> str:
    text = ""
    for part in place:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return shown(text, 100)


def _model_at(model: Any, place: list[Any]) -> Any:
    """The model that stands at a place, walking down through lists and optional parts."""
    for part in place:
        entry = _entries(model).get(part)
        model = model if entry is None else _inner_model(entry.annotation)
    return model


def _entries(model: Any) -> dict[str, FieldInfo]:
    return getattr(model, "model_fields", {})


def _inner_model(annotation: Any) -> Any:
    """The model inside ``tuple[Model, ...]``, ``Model | None`` and the like."""
    while not hasattr(annotation, "model_fields"):
        inner = [part for part in get_args(annotation) if hasattr(part, "model_fields") or get_args(part)]
        if not inner:
            return annotation
        annotation = inner[0]
    return annotation


#: What pydantic says in many ways, by the beginning of its kinds of fault.
_PLAIN = {"date": "a day, as 2025-10-18", "int": "a whole number", "string": 'text in quotes, as "red"', "finite": "a finite number"}


def _wrong(model: Any, key: Any, name: str, fault: Mapping[str, Any]) -> str:
    """What is wrong with a key of `model` and what to do; `name` is the key's whole name."""
    kind, found = fault["type"], fault["input"]
    entry = _entries(model).get(key)
    if kind == "extra_forbidden":
        # with the tables above it, as behind --set it has to be typed; one of many blocks has no such name
        above = name.removesuffix(str(key)) if name.endswith(f".{key}") and "[" not in name else ""
        return f"no such key; {near(str(key), _entries(model)).replace('did you mean ', f'did you mean {above}')}"
    if kind == "missing":
        return f"is missing; add it{f', for example {entry.examples[0]}' if entry is not None and entry.examples else ''}"
    if kind == "value_error":
        return str(fault["msg"].removeprefix("Value error, "))
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        value = shown(repr(found)) if isinstance(found, str) else f"{found:,.10g}{unit_of(entry)}"
        return f"must be {limits(entry) if entry else fault['msg']} (is {value})"
    if kind in ("model_type", "dict_type"):
        return f"must be a table of settings, as [{name}] (is {shown(repr(found))})"
    if kind in ("tuple_type", "list_type"):
        return f"must be a list, as [[{name}]] (is {shown(repr(found))})"
    plain = next((words for start, words in _PLAIN.items() if kind.startswith(start)), None)
    return f"must be {plain or fault['msg'].removeprefix('Input should be ')} (is {shown(repr(found))})"
