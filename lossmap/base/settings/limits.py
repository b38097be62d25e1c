"""What a setting may be, in words: for its refusal and for the listing."""

from __future__ import annotations

from typing import Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from lossmap.base.settings.typed import Typed

__all__ = ["limits", "unit_of"]


def limits(entry: FieldInfo) -> str:
    """The range in the unit of the default: ``1 to 50 m``; the words allowed, for a choice."""
    bounds = {name: getattr(rule, name) for rule in entry.metadata for name in ("ge", "le", "gt", "lt") if hasattr(rule, name)}
    if get_origin(entry.annotation) is Literal:
        return " or ".join(f'"{word}"' for word in get_args(entry.annotation))
    if not bounds:
        return ""
    low, high = bounds.get("ge", bounds.get("gt")), bounds.get("le", bounds.get("lt"))
    unit = unit_of(entry)
    if low is None or high is None:
        return f"at least {low:,.10g}{unit}" if low is not None else f"at most {high:,.10g}{unit}"
    return f"more than {low:,.10g}, up to {high:,.10g}{unit}" if "gt" in bounds else f"{low:,.10g} to {high:,.10g}{unit}"


def unit_of(entry: FieldInfo | None) -> str:
    """The unit a setting is kept in, with a space before it; nothing for a plain number."""
    kept = next((rule.unit for rule in (entry.metadata if entry else ()) if isinstance(rule, Typed)), "")
    kept = kept or next(
        (rule.unit for part in get_args(entry.annotation if entry else None) for rule in get_args(part) if isinstance(rule, Typed)), ""
    )
    return f" {'%' if kept == 'percent' else kept}" if kept else ""
