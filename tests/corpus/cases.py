"""What a case is, and the sound field and farm that each of them spoils in one place."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

__all__ = ["COUNTS", "DONE", "FACTS", "LOG", "WRONG_DATA", "WRONG_WAY", "Case", "field", "log_rows", "spoilt", "truncated", "zipped"]

#: Exit codes of the contract.
DONE, WRONG_WAY, WRONG_DATA = 0, 2, 3

Content = str | bytes | None


@dataclass(frozen=True)
class Case:
    """One odd input.

    Attributes
    ----------
    kind : str
        Which reader or config it is for; a row of the table.
    name : str
    write : function of a folder
        Makes the folder ``creek`` in it; may return more words for the command.
    ends : int
        Exit code.
    says : str
        What must stand in the message, or in the answer.
    flow : str
        The command that is given it.
    slow : bool
        Takes long to make or to read: measured in a process of its own.
    """

    kind: str
    name: str
    write: Callable[[Path], list[str] | None]
    ends: int = WRONG_DATA
    says: str = ""
    flow: str = "check"
    slow: bool = False

    @property
    def id(self) -> str:
        """Of kind and name."""
        return f"{self.kind}: {self.name}"


FACTS = """\
name = "Made creek"
crop = "corn"
header_width = "30 ft"
"""

HEAD = "longitude,latitude,Mass flow (lb/s),Moisture (%),Speed (mph),Time"


def log_rows(count: int = 60) -> list[str]:
    """Records of a second each, one pass to the north at 4.5 mph."""
    return [f"-93.60000,{41.9 + 1.809e-5 * i:.7f},{30 + i % 5},17.5,4.5,2025-10-18T14:{i // 60:02d}:{i % 60:02d}Z" for i in range(count)]


LOG = "\n".join([HEAD, *log_rows()]) + "\n"

COUNTS = """\
stop,longitude,latitude,position,seeds,frame_ft2,frames,note
1,-93.6,41.9002,before header,1,1,4,
1,-93.6,41.9002,behind header,6,1,4,
1,-93.6,41.9002,behind combine,9,1,4,dry
2,-93.6,41.9006,behind combine,7,1,4,
"""


def field(
    folder: Path,
    log: Content = LOG,
    counts: Content = COUNTS,
    *,
    facts: str = FACTS,
    path: str = "points.csv",
    keys: str = "",
    counts_path: str = "counts.csv",
    boundary: tuple[str, Content] | None = None,
    files: Mapping[str, Content] | None = None,
) -> None:
    """A sound field in ``folder/creek``, any part of it replaced."""
    place = folder / "creek"
    place.mkdir(exist_ok=True)
    text = facts + (f'boundary = "{boundary[0]}"\n' if boundary else "")
    text += f'[[points]]\npath = "{path}"\n{keys}\n[[counts]]\npath = "{counts_path}"\n'
    all_files: dict[str, Content] = {"field.toml": text, path: log, counts_path: counts, **(files or {})}
    if boundary:
        all_files[boundary[0]] = boundary[1]
    for name, content in all_files.items():
        if content is not None:
            file = place / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content if isinstance(content, bytes) else content.encode())


def spoilt(kind: str, name: str, ends: int, says: str, flow: str = "check", **parts: object) -> Case:
    """A case of a sound field with these parts replaced (`field`)."""
    return Case(kind, name, lambda folder: field(folder, **parts), ends, says, flow)  # type: ignore[arg-type]


def truncated(content: bytes, *shares: float) -> dict[str, bytes]:
    """The beginning of a file, by how much of it."""
    return {f"first {share:.0%}": content[: int(len(content) * share)] for share in shares}


def zipped(files: Mapping[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Files by their names in one zip."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()
