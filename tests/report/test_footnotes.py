"""Numbers of sources on a page."""

from lossmap.base import reference
from lossmap.report.footnotes import Footnotes
from lossmap.report.words import Words


def test_numbers_go_by_first_naming():
    """A source keeps its number; new ones get the next; titles stand in that order."""
    notes = Footnotes()
    assert notes.numbers(["SAFE", "memory"]) == [1, 2]
    assert notes.numbers(["practice", "SAFE", "SAFE"]) == [1, 3]
    assert notes.under("Said.", ["memory"]) == {"text": "Said.", "notes": [2]}
    assert notes.titles() == [reference.sources()[key] for key in ("SAFE", "memory", "practice")]


def test_advice_is_parted_by_when_it_can_be_followed():
    """Every row once, in the units asked for, each with its sources."""
    rows = reference.advice("header", "corn", ["speed"])
    for units, wanted, other in (("us", "plants/ac", "plants/ha"), ("metric", "plants/ha", "plants/ac")):
        parts = Footnotes().advice(rows, Words(reference.crop("corn"), units))
        assert len(parts["now"]) + len(parts["later"]) == len(rows)
        assert parts["now"][0]["look_at"] == rows[0].look_at
        said = " ".join(row["look_at"] for row in parts["later"])
        assert wanted in said
        assert other not in said
        assert all(row["notes"] for part in parts.values() for row in part)
