"""Numbers held against the outside: published answers, open data, reference libraries, every possible order.

A test says `agrees(what, source, got, expected, within)`. That asserts, and looks the number up in
shared/expected/outside.md, so that the table can neither lie nor lag behind. ``python tests/outside.py``
(`make docs`) writes the table by running those tests.
"""

from __future__ import annotations

import ast
import functools
import os
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TABLE = ROOT / "shared" / "expected" / "outside.md"

HEAD = """\
# Numbers held against the outside

Written by `python tests/outside.py` (`make docs`): {count} numbers, each from the test that holds it. *Expected* is what the source
prints or the other library answers, *got* what lossmap answers, and no further from it than *within*, which covers the source's
own rounding. A difference is expected to be 0.
"""

# Not in the table, while it is being made.
MAKING = "LOSSMAP_MAKES_OUTSIDE"


@dataclass(frozen=True)
class Row:
    """One number: what it is, who says so, what lossmap says, and which test holds it."""

    what: str
    source: str
    got: float
    expected: float
    within: float
    test: str

    def cells(self) -> tuple[str, ...]:
        """As the table shows it."""
        numbers = (f"{self.expected:.7g}", f"{self.got:.7g}", f"{self.within:.3g}")
        return (*(re.sub(r"[|\n]", " ", text) for text in (self.what, self.source)), *numbers, self.test.split("::")[1])

    @property
    def key(self) -> tuple[str, ...]:
        """What tells it from others."""
        what, source, *_, test = self.cells()
        return (self.test.split("::")[0], what, source, test)

    @property
    def numbers(self) -> tuple[float, float, float]:
        """Expected, got and how far apart they may be."""
        return self.expected, self.got, self.within


HELD: list[Row] = []


def agrees(what: str, source: str, got: float, expected: float, within: float) -> None:
    """Assert that `got` is `expected`, give or take `within`, and that the table says so (a difference to 0: `expected` 0)."""
    row = Row(what, source, float(got), float(expected), float(within), _this_test())
    assert row.got == pytest.approx(row.expected, abs=row.within, rel=0), f"{what} ({source})"
    if MAKING in os.environ:
        assert row.key not in {one.key for one in HELD}, f"{what} stands twice"
        HELD.append(row)
        return
    assert row.key in listed(), f"{what} is not in {TABLE.name}; run make docs"
    # another version of a library may differ in digits that matter to nobody
    assert listed()[row.key] == pytest.approx(row.numbers, rel=2e-3, abs=max(row.within / 4, 1e-9)), f"{TABLE.name} shows other numbers"


def _this_test() -> str:
    """File and function of the test that runs, from pytest."""
    return re.sub(r"\[.*", "", os.environ["PYTEST_CURRENT_TEST"].split(" ")[0])


@functools.cache
def listed() -> dict[tuple[str, ...], tuple[float, ...]]:
    """What the table shows: expected, got and within of each number, by its key."""
    found: dict[tuple[str, ...], tuple[float, ...]] = {}
    file = ""
    for line in TABLE.read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            file = line.removeprefix("## ")
        elif line.startswith("| ") and not line.startswith("| what |"):
            what, source, *numbers, test = line.removeprefix("| ").removesuffix(" |").split(" | ")
            found[(file, what, source, test)] = tuple(map(float, numbers))
    return found


def holding() -> list[str]:
    """The tests that hold numbers against the outside, as pytest names them."""
    found = []
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        code = path.read_text(encoding="utf-8")
        if re.search(r"^from outside import agrees$", code, re.MULTILINE):
            tests = [node for node in ast.parse(code).body if isinstance(node, ast.FunctionDef)]
            found += [f"{path.relative_to(ROOT).as_posix()}::{test.name}" for test in tests if "id='agrees'" in ast.dump(test)]
    return found


def text(rows: list[Row]) -> str:
    """The table, a section for each file of tests."""
    return "\n".join([HEAD.format(count=len(rows)), *_sections(rows)])


def _sections(rows: list[Row]) -> Iterator[str]:
    for file in dict.fromkeys(sorted(row.test.split("::")[0] for row in rows)):
        yield f"## {file}\n\n| what | source | expected | got | within | test |\n|---|---|---|---|---|---|"
        yield "".join("| " + " | ".join(row.cells()) + " |\n" for row in rows if row.test.startswith(f"{file}::"))


def main() -> int:
    """Run the tests that hold the numbers; 1 where one fails or is skipped, and the table stays as it was."""
    import outside  # the module that the tests import, which is not this one

    os.environ[MAKING] = "1"
    seen = _Seen()
    code = pytest.main(["-q", "-p", "no:cacheprovider", "--rootdir", str(ROOT), *(str(ROOT / name) for name in holding())], plugins=[seen])
    if code or seen.skipped:
        print(f"{TABLE.name} stays as it was: not every number could be had", *seen.skipped, sep="\n")
        return 1
    TABLE.write_text(text(outside.HELD), encoding="utf-8")
    return 0


class _Seen:
    """Notes what pytest skipped."""

    def __init__(self) -> None:
        self.skipped: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test ended."""
        if report.skipped:
            self.skipped.append(report.nodeid)


if __name__ == "__main__":
    sys.exit(main())
