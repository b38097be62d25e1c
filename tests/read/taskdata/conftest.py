"""Made task data: written record by record as the standard says, by code that shares nothing with the reader."""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import pytest

# day 16,726 since 1980-01-01 is 2025-10-17
DAY = 16_726
NOON_MS = 43_200_000
NORTH, EAST = 419_000_000, -936_000_000
RECORD_FORMATS = {"A": "i", "B": "i", "C": "i", "D": "B", "E": "H", "F": "H", "G": "B", "H": "I", "I": "H"}

DEVICE = """\
<DVC A="DVC-1" B="Made combine"><DET A="DET-1" B="1" C="1" F="0"><DOR A="10"/></DET><DET A="DET-2" B="2" C="4" F="1"/></DVC>
"""
TASK = '<TSK A="TSK-1" B="Made task" G="4"><DAN A="A0" C="DVC-1"/><TLG A="TLG00001" C="1"/></TSK>'


class Made:
    """Builds headers, records and whole folders of made task data."""

    device = DEVICE
    task = TASK

    @staticmethod
    def header(logged: Sequence[str | tuple[str, str, str]], position: str = 'A="" B="" D=""', tim: str = 'A="" D="4"') -> str:
        """A header; an entry is a DDI, or (DDI, constant, element)."""
        entries = [(one, "", "DET-1") if isinstance(one, str) else one for one in logged]
        listed = "".join(f'<DLV A="{ddi}" B="{value}" C="{element}"/>' for ddi, value, element in entries)
        return f'<?xml version="1.0" encoding="UTF-8"?>\n<TIM {tim}><PTN {position}/>{listed}</TIM>'

    @staticmethod
    def record(
        second: float,
        values: Mapping[int, int] | None = None,
        place: tuple[int, ...] = (NORTH, EAST, 1),
        position: str = "ABD",
        day: int = DAY,
    ) -> bytes:
        """A record `second` seconds after noon."""
        values = values or {}
        kinds = "".join(RECORD_FORMATS[name] for name in position)
        head = struct.pack(f"<IH{kinds}B", NOON_MS + round(1000 * second), day, *place, len(values))
        return head + b"".join(struct.pack("<Bi", index, value) for index, value in values.items())

    @staticmethod
    def taskdata(*parts: str, head: str = '<?xml version="1.0" encoding="UTF-8"?>') -> str:
        """A TASKDATA.XML."""
        return f'{head}\n<ISO11783_TaskData VersionMajor="4" VersionMinor="3" DataTransferOrigin="2">{"".join(parts)}</ISO11783_TaskData>'

    def drive(self, seconds: int, flow: int = 12_000_000) -> bytes:
        """Records a second apart, 1.5 m further north each, with mass flow as value 0."""
        return b"".join(self.record(k, {0: flow}, (NORTH + 135 * k, EAST, 1)) for k in range(seconds))

    def write(self, folder: Path, files: Mapping[str, str | bytes] | None = None, **changed: str | bytes | None) -> Path:
        """A folder of one log of ten records; `files` come on top, `changed` (taskdata, header, binary) replace, None leaves out."""
        content: dict[str, str | bytes | None] = {
            "TASKDATA.XML": changed.get("taskdata", self.taskdata(self.device, self.task)),
            "TLG00001.xml": changed.get("header", self.header(["0057"])),
            "TLG00001.bin": changed.get("binary", self.drive(10)),
            **(files or {}),
        }
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in content.items():
            if text is not None:
                (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
        return folder


@pytest.fixture(scope="session")
def made() -> Made:
    """The builder of made task data."""
    return Made()


@pytest.fixture
def task_folder(made: Made, tmp_path: Path) -> Callable[..., Path]:
    """Write made task data into a fresh folder (`Made.write`)."""

    def write(files: Mapping[str, str | bytes] | None = None, name: str = "td", **changed: str | bytes | None) -> Path:
        return made.write(tmp_path / name, files, **changed)

    return write
