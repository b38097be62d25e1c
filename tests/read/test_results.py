"""JSON of a map read back: whole, or one refusal that names file, fault and remedy."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Annotated

import pydantic
import pytest

from lossmap.base.errors import ReadError
from lossmap.read.results import Count, Known, NeverNegative, Positive, limits, one_of, read_result, result_bytes


class Made(pydantic.BaseModel):
    """A file with a value of each kind."""

    count: Count = 0
    known: Known = None
    above: Positive = 1.0
    least: NeverNegative = 0.0
    between: Annotated[float, limits(-1.0, 1.0)] = 0.0
    word: Annotated[str, one_of("red", "green")] = "red"


def written(folder: Path, content: object) -> Path:
    """A file of results of the field "creek"."""
    file = folder / "creek" / "made.json"
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(content if isinstance(content, bytes) else json.dumps(content).encode())
    return file


def test_what_is_whole_is_read(tmp_path: Path) -> None:
    """Values as they stand there; what a later version adds is let pass."""
    found = read_result(Made, written(tmp_path, {"count": 3, "known": 0.5, "word": "green", "later": 1}))
    assert (found.count, found.known, found.word) == (3, 0.5, "green")
    assert read_result(Made, written(tmp_path, {"known": None})).known is None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"{", "is not JSON (Expecting property name"),
        (b"\xff\xfe", "is not JSON ("),
        (b"[" * 100_000, "is not JSON (maximum recursion depth"),
        (b"1" * 5_000, "is not JSON ("),
        (b"[]", "holds list, not a table"),
        ({"count": -1}, "count: must be at least 0"),
        ({"count": 10**400}, "count: must be a number of things counted"),
        ({"count": 1.5}, "count: must be a whole number (is 1.5)"),
        (b'{"known": NaN}', "known: must be a finite number"),
        ({"above": 0}, "above: must be above 0 (is 0.0)"),
        ({"least": -1}, "least: must be at least 0 (is -1.0)"),
        ({"between": 2}, "between: must be between -1 and 1 (is 2.0)"),
        ({"word": "blue"}, "word: is none of red, green"),
    ],
)
def test_what_is_not_is_one_refusal(tmp_path: Path, content: object, said: str) -> None:
    """Place, fault, and what to do about it."""
    with pytest.raises(ReadError) as refused:
        read_result(Made, written(tmp_path, content))
    assert str(refused.value).startswith(f"creek/made.json: {said}")
    assert str(refused.value).endswith("; map the field again")


def test_all_faults_stand_in_one_message(tmp_path: Path) -> None:
    """A line each."""
    with pytest.raises(ReadError) as refused:
        read_result(Made, written(tmp_path, {"above": 0, "word": "blue"}))
    assert len(str(refused.value).splitlines()) == 2


def test_what_cannot_be_read_is_refused(tmp_path: Path) -> None:
    """No file, a folder, a file of a terabyte that is all hole: at once, and in little memory."""
    with pytest.raises(ReadError, match=r"creek/made.json: cannot be read \(No such file or directory\); map the field again"):
        result_bytes(tmp_path / "creek" / "made.json")
    with pytest.raises(ReadError, match="cannot be read"):
        result_bytes(tmp_path)
    file = written(tmp_path, b"")
    os.truncate(file, 10**12)
    with pytest.raises(ReadError, match="creek/made.json: is larger than 10 MB"):
        result_bytes(file)
