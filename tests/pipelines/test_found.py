"""What was understood, as text and as values."""

from __future__ import annotations

import json

from lossmap.pipelines.found import Found

COLUMN = {"role": "speed", "column": "Tempo", "unit": "km/h", "how": "chosen", "check": 1.0042, "first": ["7", "8"]}


def test_a_part_is_a_headline_and_a_table():
    """Columns stand under one another, the check has three decimals, what plays no role is named."""
    found = Found([{"what": "log.csv", "says": "2 records", "columns": [COLUMN], "unused": ["a", "b"]}])
    head, names, row, unused = found.as_text().splitlines()
    assert head == "log.csv: 2 records"
    assert unused == "  not used: a, b"
    assert [names.index(word) for word in ("role", "column", "unit", "how", "check", "first values")] == [
        row.index(word) for word in ("speed", "Tempo", "km/h", "chosen", "1.004", "7, 8")
    ]


def test_what_is_asked_for_stands_once_in_a_block():
    """Lines of several parts, each once; without any there is no block."""
    line = 'speed = { column = "...", unit = "mph" }'
    parts = [{"what": name, "says": "1 record", "asked": [line]} for name in ("a.csv", "b.csv")]
    assert Found(parts).as_text().endswith(f"\n[points.columns]\n{line}")
    assert "[points.columns]" not in Found([{"what": "a.csv", "says": "1 record"}]).as_text()


def test_a_script_gets_the_same():
    """Plain values: parts and faults."""
    found = Found([{"what": "a.csv", "says": "1 record"}], ["a.csv: is empty"])
    assert json.loads(json.dumps(found.as_json())) == {"parts": found.parts, "faults": found.faults}
