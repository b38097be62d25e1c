"""The ledger of evidence says what is there."""

from __future__ import annotations

import json
import re
from pathlib import Path

SHARED = Path(__file__).resolve().parents[1] / "shared"
LEDGER = (SHARED / "README.md").read_text(encoding="utf-8")


def test_every_file_is_in_the_ledger_and_nothing_else() -> None:
    """A file without origin, or an entry without file, fails."""
    files = {str(path.relative_to(SHARED)) for path in SHARED.rglob("*") if path.is_file() and "__pycache__" not in path.parts}
    first_table = LEDGER.split("\n## ")[0]
    entries = set(re.findall(r"^\| `([^`]+)`", first_table, flags=re.MULTILINE))
    assert entries == files


def test_the_ledger_counts_the_checks_right() -> None:
    """How many checks there are, of which kinds, and which are from memory."""
    checks = json.loads((SHARED / "worked" / "agronomy.json").read_text(encoding="utf-8"))
    assert f"{len(checks)} worked examples" in LEDGER
    kinds = LEDGER.split("## How to read a check")[1].split("\n## ")[0]
    assert {check["kind"] for check in checks} == set(re.findall(r"^\| `(\w+)`", kinds, flags=re.MULTILINE))
    assert [check["id"] for check in checks if check["from_memory"]] == ["B25", "F11", *(f"F{number}" for number in range(13, 26))]


def test_what_is_left_is_not_in_the_file() -> None:
    """No id stands both in the file and in the list of what is left."""
    checks = {check["id"] for check in json.loads((SHARED / "worked" / "agronomy.json").read_text(encoding="utf-8"))}
    assert {check for check in checks if check[0] in "GH"} == {"G08", "G10", "G12", "G13"}
    assert not checks & {"E21", "E22", "E25", "E26", "E28", "E33", "E36", "E40", "E41", "E42"}
