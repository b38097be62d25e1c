"""Points as GeoParquet: what is said of places, columns of lists and tables, rows beyond counting."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from .cases import DONE, WRONG_DATA, Case
from .vectors import COUNT, maker

_case = maker("points, GeoParquet", "points.parquet")

PLAIN = {
    "longitude": np.full(COUNT, -93.6),
    "latitude": 41.9 + 1.809e-5 * np.arange(COUNT),
    "mass flow (kg/s)": np.full(COUNT, 12.0),
    "speed (m/s)": np.full(COUNT, 2.0117),
}


def cases() -> Iterator[Case]:
    """Places in columns or described, odd columns, and much in few bytes."""
    yield _case("places in columns", DONE, "60 records", lambda: _table(PLAIN))
    yield _case("a description of places that is no JSON", DONE, "60 records", lambda: _table(PLAIN, {b"geo": b"{nonsense"}))
    yield _case(
        "a description of a column that is not there",
        DONE,
        "60 records",
        lambda: _table(
            PLAIN,
            {b"geo": b'{"version": "1.1.0", "primary_column": "shape", "columns": {"shape": {"encoding": "WKB", "geometry_types": []}}}'},
        ),
    )
    broken = {**PLAIN, "geometry": pa.array([b"\x01\x01\x00"] * COUNT, pa.binary())}
    described = {
        b"geo": b'{"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB", "geometry_types": []}}}'
    }
    yield _case("places cut off", WRONG_DATA, "cannot be read as .parquet", lambda: _table(broken, described))
    yield _case("lists in a column", DONE, "60 records", lambda: _table({**PLAIN, "odd": pa.array([[1, 2]] * COUNT)}))
    passes = {"pass": pa.array([{"a": number} for number in range(COUNT)])}
    yield _case("tables for passes", DONE, "60 records", lambda: _table({**PLAIN, **passes}))
    yield _case(
        "lists beside words that mean no value",
        DONE,
        "60 records",
        lambda: _table({**PLAIN, "pass": pa.array([[1, 2]] * COUNT)}),
        keys='missing = ["x"]',
    )
    yield _case("tables in a column", DONE, "60 records", lambda: _table({**PLAIN, "odd": pa.array([{"a": 1}] * COUNT)}))
    yield _case(
        "days of the year 292277",
        DONE,
        "60 records",
        lambda: _table({**PLAIN, "odd": pa.array([2**62] * COUNT, pa.timestamp("us"))}),
    )
    yield _case("two columns of one name", WRONG_DATA, "cannot be read as .parquet", lambda: _twice(PLAIN))
    yield _case(
        "millions of rows in a thousand bytes",
        WRONG_DATA,
        "more than one field has",
        lambda: _table({"a": pa.nulls(3_000_000, pa.int8())}),
    )
    long = pa.DictionaryArray.from_arrays(pa.array(np.zeros(50_000, dtype=np.int32)), pa.array(["x" * 100_000]))
    yield _case(
        "a text of a megabyte written once for every row",
        WRONG_DATA,
        "would unpack to more than",
        lambda: _table({"a": long, "longitude": np.zeros(50_000)}, store_schema=False),
    )


def _table(columns: dict[str, Any], metadata: dict[bytes, bytes] | None = None, **how: Any) -> bytes:
    """A table of columns as Parquet, with what is said of its places."""
    out = pa.BufferOutputStream()
    made = pa.table(columns)
    pq.write_table(made.replace_schema_metadata(metadata) if metadata else made, out, **how)
    return bytes(out.getvalue().to_pybytes())


def _twice(columns: dict[str, Any]) -> bytes:
    """A table in which the first column stands again behind all."""
    out = pa.BufferOutputStream()
    arrays = [pa.array(values) for values in columns.values()]
    pq.write_table(pa.Table.from_arrays([*arrays, arrays[0]], names=[*columns, next(iter(columns))]), out)
    return bytes(out.getvalue().to_pybytes())
