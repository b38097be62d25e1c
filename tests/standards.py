"""Every file that the commands write, before the validators of others.

``python tests/standards.py`` writes shared/expected/standards.md.
"""

from __future__ import annotations

import datetime
import shutil
import sys
import tempfile
from pathlib import Path

from judges import JUDGES, Judge, Missing
from lossmap.pipelines.command import main as lossmap

ROOT = Path(__file__).resolve().parent.parent
FIELDS = ROOT / "demo-fields"
TABLE = ROOT / "shared" / "expected" / "standards.md"

# What hostile files call their things: markup, a template, a formula, a bell, half an emoji, a sign that joins two scripts.
HOSTILE = '<b>&amp; \\"x\\" {{7*7}} ${1} =1+1 ]]> \\u0007 \\u2028 \\u202e --> </script> \\U0001F33D'

#: Every flow, over fields that differ in what they can say. A new flow is a line here.
RUNS: tuple[tuple[str, ...], ...] = (
    ("map", "gravel-eighty", "--set", "report.price=4.20 USD/bu", "--set", "report.hour_value=300 USD/h", "--set", "zones.surrogates=19"),
    ("map", "mill-strip", "--set", "report.units=metric"),
    ("map", "pond-piece"),
    ("map", "hostile", "--set", "report.basemap=https://tiles.example.org/{z}/{x}/{y}.png"),
    ("stops", "gravel-eighty"),
    ("stops", "mill-strip", "--set", "report.units=metric"),
    ("stops", "hostile"),
    ("season", "."),
    ("rank", "made-farm", "--on", "2025-09-25"),
    ("rank", "made-farm", "--on", "2025-10-05", "--set", "page.units=metric"),
)

_HEAD = """\
# Files before the validators of others

`python tests/standards.py`: {today}. All files that {runs} runs of `map`, `stops`, `season` and `rank` write on the made fields, one of
them under hostile names; what each judge is and lets through stands in `tests/judges.py`, and a test shows each judge a broken file.

| ending | files | judge | faults |
|---|---|---|---|
"""


def written(place: Path) -> dict[str, list[Path]]:
    """Every file that the runs write, by ending; it lies in a folder of its field in one of its flow, below `place`."""
    for number, (flow, name, *words) in enumerate(RUNS):
        source = _hostile(place) if name == "hostile" else FIELDS / name
        assert lossmap([flow, str(source), "--out", str(place / str(number) / flow), "--quiet", *words]) == 0, (flow, name)
    found: dict[str, list[Path]] = {}
    for path in sorted(path for number in range(len(RUNS)) for path in (place / str(number)).rglob("*") if path.is_file()):
        found.setdefault(path.suffix, []).append(path)
    return found


def _hostile(place: Path) -> Path:
    """A demo field under names as bad as a file's text can be."""
    folder = place / "hostile"
    if not folder.exists():
        shutil.copytree(FIELDS / "mill-strip", folder)
        facts = (folder / "field.toml").read_text()
        for name in ("Mill strip (made)", "rigid", "green"):
            assert f'"{name}"' in facts
            facts = facts.replace(f'"{name}"', f'"{HOSTILE}"')
        (folder / "field.toml").write_text(facts)
        counts = (folder / "counts.csv").read_text()
        (folder / "counts.csv").write_text(counts.replace("S01,", "<i>&=S01,"))
    return folder


def listed() -> dict[str, int]:
    """How many files of each ending the table speaks of."""
    rows = [line.strip("| ").split(" | ") for line in TABLE.read_text(encoding="utf-8").splitlines() if line.startswith("| .")]
    return {ending: int(files) for ending, files, *_ in rows}


def main() -> int:
    """Run the flows, ask every judge, write the table; 1 if one of them finds a fault."""
    with tempfile.TemporaryDirectory() as place:
        found = written(Path(place))
        said = {(ending, judge): _said(judge, found[ending]) for ending, judges in JUDGES.items() for judge in judges}
        rows = [
            f"| {ending} | {len(found[ending])} | {judge.__name__}: {(judge.__doc__ or '').splitlines()[0]} | {outcome} |"
            for (ending, judge), outcome in said.items()
        ]
    TABLE.write_text(_HEAD.format(today=datetime.date.today(), runs=len(RUNS)) + "\n".join(rows) + "\n", encoding="utf-8")
    return int(any(outcome not in {"0", "not asked"} for outcome in said.values()))


def _said(judge: Judge, paths: list[Path]) -> str:
    try:
        faults = judge(paths)
    except Missing as lack:
        print(f"{judge.__name__} is not asked: {lack}")
        return "not asked"
    print(*(f"{judge.__name__}: {fault}" for fault in faults), sep="\n", end="")
    return str(len(faults))


if __name__ == "__main__":
    sys.exit(main())
