"""What was understood of files, for a person and for a script."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from lossmap.base.errors import shown

__all__ = ["Found"]


@dataclass
class Found:
    """What was understood, part by part, and what has to be mended before a map can be made."""

    parts: list[dict[str, Any]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    @property
    def asked(self) -> list[str]:
        """The lines of [points.columns] for units that nobody states, and for what was not found beside columns left over."""
        return list(dict.fromkeys(line for part in self.parts for line in part.get("asked", ())))

    def as_json(self) -> dict[str, Any]:
        """The same as plain values."""
        return {"parts": self.parts, "faults": self.faults}

    def as_text(self) -> str:
        """The same for a person: a headline a part, a table of its columns, and the block to paste where something is asked for."""
        lines = [line for part in self.parts for line in _lines(part)]
        if self.asked:
            lines += [
                "",
                "to settle what is open, under [[points]] in field.toml (choose column and unit, leave out what the log has not):",
                "[points.columns]",
                *self.asked,
            ]
        return "\n".join(lines)


def _lines(part: dict[str, Any]) -> list[str]:
    lines = [f"{part['what']}: {part['says']}"]
    rows = [("role", "column", "unit", "how", "check", "first values")]
    rows += [
        (
            one["role"],
            shown(one["column"], 32),
            one["unit"],
            one["how"],
            "" if one["check"] is None else f"{one['check']:.3f}",
            ", ".join(one["first"]),
        )
        for one in part.get("columns", [])
    ]
    if len(rows) > 1:
        widths = [max(len(row[i]) for row in rows) for i in range(5)]
        lines += ["  " + "  ".join([*(cell.ljust(width) for cell, width in zip(row[:5], widths, strict=True)), row[5]]) for row in rows]
    if part.get("unused"):
        lines.append(f"  not used: {shown(', '.join(part['unused']), 200)}")
    return lines
