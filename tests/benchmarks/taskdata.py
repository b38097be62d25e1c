"""How quickly ISO 11783-10 time logs are read: whole seconds and records a second, on open logs written one behind the other."""

from __future__ import annotations

import os
import shutil
import struct
import tempfile
import time
from pathlib import Path

from lossmap.read.taskdata import read_task_data
from lossmap.read.taskdata.header import Header, header_of
from lossmap.read.taskdata.records import records_of
from lossmap.read.taskdata.roles import KNOWN

RECORDS = 300_000
LOG = "task-data-forage/field-work/TLG00001"


def measure() -> dict[str, float | int | str]:
    """Seconds to decode and to read whole, records a second, and the same of a plain record loop; says so where the log is not here.

    Times are CPU seconds of this process, the least of three.
    """
    folder = Path(os.environ.get("LOSSMAP_OPEN_DATA", Path(__file__).resolve().parents[3] / "shared" / "open-data"))
    source = folder / LOG
    if not source.with_suffix(".bin").exists():
        return {"skipped": f"open data not here ({LOG}); set LOSSMAP_OPEN_DATA to their folder"}
    one = source.with_suffix(".bin").read_bytes()
    header = header_of(source.with_suffix(".xml").read_bytes(), LOG)
    wanted = [index for index, entry in enumerate(header.logged) if entry.ddi in KNOWN]
    times = -(-RECORDS // len(records_of(one, header, wanted).fixed))
    content = one * times
    count = len(records_of(content, header, wanted).fixed)
    decode_s = min(_seconds(lambda: records_of(content, header, wanted)) for _ in range(3))
    loop_s = min(_seconds(lambda: _record_loop(content, header)) for _ in range(3))
    with tempfile.TemporaryDirectory() as scratch:
        for name, bytes_ in (("TLG00001.bin", content), ("TLG00001.xml", source.with_suffix(".xml").read_bytes())):
            (Path(scratch) / name).write_bytes(bytes_)
        shutil.copy(source.with_name("TASKDATA.XML"), scratch)
        whole_s = min(_seconds(lambda: read_task_data(Path(scratch), "benchmark", "TLG00001")) for _ in range(3))
    return {
        "records": count,
        "megabytes": round(len(content) / 1e6, 1),
        "decode_s": round(decode_s, 3),
        "decode_records_per_s": round(count / decode_s),
        "read_s": round(whole_s, 3),
        "read_records_per_s": round(count / whole_s),
        "record_loop_s": round(loop_s, 3),
        "decode_is_quicker_than_loop_by": round(loop_s / decode_s, 1),
    }


def _seconds(step) -> float:  # type: ignore[no-untyped-def]
    began = time.process_time()
    step()
    return time.process_time() - began


def _record_loop(content: bytes, header: Header) -> list[tuple[tuple[int, ...], dict[int, int]]]:
    """The same records one by one with struct, as a yardstick."""
    fixed, value = struct.Struct("<IHiiBB"), struct.Struct("<Bi")
    assert fixed.size == header.fixed.itemsize
    at, records = 0, []
    while at < len(content):
        head = fixed.unpack_from(content, at)
        at += fixed.size
        values = {}
        for _ in range(head[-1]):
            index, raw = value.unpack_from(content, at)
            values[index] = raw
            at += value.size
        records.append((head, values))
    return records


if __name__ == "__main__":
    for name, figure in measure().items():
        print(f"{name:32} {figure}")
