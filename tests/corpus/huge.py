"""Files that are large, or become so: measured in a process of their own, with time and memory bounded."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from .cases import DONE, HEAD, WRONG_DATA, Case, field, log_rows

KIND = "large files"
ROWS = 10_000_000


def cases() -> Iterator[Case]:
    """Ten million rows of every text, bombs, and one line that fills a disk."""
    for case in _all():
        yield replace(case, slow=True)


def _all() -> Iterator[Case]:
    yield Case(KIND, "ten million rows of CSV", _rows(log_rows()), WRONG_DATA, "holds 10,000,000 records, more than one field has")
    yield Case(KIND, "ten million rows of counts", _counts, WRONG_DATA, "more than one field has")
    yield Case(KIND, "ten million rows of GeoParquet", _parquet, WRONG_DATA, "holds 10,000,000 records, more than one field has")
    yield Case(KIND, "a CSV of a gigabyte without an end of line", _one_line, WRONG_DATA, "holds more than 50,000,000 values")
    yield Case(KIND, "a CSV of ten gigabytes, all hole", _hole, WRONG_DATA, "is too large for one field")
    yield Case(
        KIND,
        "a GeoPackage of ten gigabytes, all hole",
        lambda folder: _hole(folder, "points.gpkg"),
        WRONG_DATA,
        "is too large for one field",
    )
    yield Case(KIND, "a zip of ten gigabytes of zeros in ten megabytes", _bomb, WRONG_DATA, "")
    yield Case(KIND, "ten million days of weather", _weather, WRONG_DATA, "more than one field has", "rank")
    yield Case(KIND, "half a million rows of CSV", _rows(log_rows(), 500_000), DONE, "500,000 records")


def _rows(rows: list[str], count: int = ROWS):  # type: ignore[no-untyped-def]
    def write(folder: Path) -> None:
        field(folder, log=None)
        block = "".join(f"{row}\n" for row in rows).encode()
        with (folder / "creek" / "points.csv").open("wb") as out:
            out.write(HEAD.encode() + b"\n")
            for _ in range(count // len(rows)):
                out.write(block)
            out.write(b"".join(f"{row}\n".encode() for row in rows[: count % len(rows)]))

    return write


def _counts(folder: Path) -> None:
    field(folder)
    with (folder / "creek" / "counts.csv").open("ab") as out:
        for _ in range(ROWS // 10_000):
            out.write(b"2,-93.6,41.9006,behind combine,7,1,4,\n" * 10_000)


def _parquet(folder: Path) -> None:
    field(folder, log=None, path="points.parquet")
    columns = {"longitude": np.full(ROWS, -93.6), "latitude": np.full(ROWS, 41.9), "mass flow (kg/s)": np.full(ROWS, 12.0)}
    pq.write_table(pa.table(columns), folder / "creek" / "points.parquet", compression="zstd")


def _one_line(folder: Path) -> None:
    field(folder, log=None)
    with (folder / "creek" / "points.csv").open("wb") as out:
        for _ in range(99):
            out.write(b"longitude,latitude," * 500_000)


def _hole(folder: Path, name: str = "points.csv") -> None:
    field(folder, log=None, path=name)
    with (folder / "creek" / name).open("wb") as out:
        out.truncate(10_000_000_000)


def _bomb(folder: Path) -> None:
    field(folder, log=None, path="points.zip")
    with (
        zipfile.ZipFile(folder / "creek" / "points.zip", "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("points.shp", "w", force_zip64=True) as out,
    ):
        for _ in range(10):
            out.write(bytes(100_000_000))


def _weather(folder: Path) -> list[str]:
    from .farms import QUICK, sound

    place = folder / "creek"
    place.mkdir()
    for name, text in sound().items():
        (place / name).write_text(text)
    with (place / "history.csv").open("ab") as out:
        for _ in range(ROWS // 10_000):
            out.write(b"2024-09-01,8,20,0,60,11\n" * 10_000)
    return ["--on", "2025-09-25", *QUICK]
