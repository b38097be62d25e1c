"""Give lossmap every file of the corpus and count how each ended: ``python tests/bad_input.py`` writes shared/expected/bad-input.md.

``--only "counts" --show`` runs the kinds that begin so and prints each case; without
``--slow`` the section on large files stays as it is.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import io
import json
import os
import re
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from alone import alone
from corpus import CASES, Case
from fuzzing.targets import TARGETS
from lossmap.pipelines.command import main as lossmap

TABLE = Path(__file__).resolve().parent.parent / "shared" / "expected" / "bad-input.md"

#: Longest a case may take [s] and most memory of a large one [MB].
MOST_SECONDS, MOST_MB = 10.0, 2_500.0
LARGE_SECONDS = 120.0

_LINE = re.compile(r"lossmap: [^\x00-\x1f\x7f]+: [^\x00-\x1f\x7f]+")
_MEANS = {0: "right answer", 2: "exit 2 (how it was called or set)", 3: "exit 3 (the data)"}


@dataclass(frozen=True)
class Ended:
    """How a case ended, and what is not as it should be."""

    code: int
    said: str
    seconds: float
    memory_mb: float
    wrong: tuple[str, ...]


def run(case: Case, folder: Path) -> Ended:
    """Make the case's files in an empty folder and give them to the command."""
    words = case.write(folder) or []
    place = str(folder / "creek")
    if words[:1] == ["FIELD"]:
        place, words = words[1], words[2:]
    if case.flow != "check" and "--out" not in words:
        words = [*words, "--out", str(folder / "out")]
    before = _content(folder)
    # of the processor, and of the clock where the process is another: a busy machine is not the file's fault
    clock = time.monotonic if case.slow else time.process_time
    began = clock()
    code, out, err, memory_mb = (_apart if case.slow else _here)([case.flow, *words, "--", place])
    seconds = clock() - began
    wrong = _judged(case, code, out, err) + _left(case, folder, before)
    if seconds > (LARGE_SECONDS if case.slow else MOST_SECONDS):
        wrong.append(f"took {seconds:.1f} s")
    if memory_mb > MOST_MB:
        wrong.append(f"took {memory_mb:,.0f} MB")
    return Ended(code, out + err, seconds, memory_mb, tuple(wrong))


def _here(words: Sequence[str]) -> tuple[int, str, str, float]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = lossmap(words)
        except SystemExit as ended:  # argparse knows no other way
            code = int(str(ended.code))
        except Exception:
            code = 1
            traceback.print_exc()
    return code, out.getvalue(), err.getvalue(), 0.0


def _apart(words: Sequence[str]) -> tuple[int, str, str, float]:
    """In a process of its own, whose peak of memory is read."""
    done = alone(words, most_s=600)
    return done.code, done.out, done.err, done.peak_mb


def _judged(case: Case, code: int, out: str, err: str) -> list[str]:
    """Exit code and message against what the case expects; every message names a place and what is wrong there."""
    wrong = []
    if code != case.ends:
        wrong.append(f"ended with {code}, expected {case.ends}")
    if case.says not in out + err:
        wrong.append(f"does not say {case.says!r}")
    if "Traceback" in err:
        wrong.append("a traceback")
    if code == 0:
        return wrong
    lines = [line for line in err.splitlines() if line.startswith("lossmap: ")]
    if not lines and "usage: lossmap" not in err:
        wrong.append("no message")
    wrong += [
        f"not place, finding, remedy: {line[:200]}"
        for line in lines
        if not _LINE.fullmatch(line) or not ("; " in line or "must be" in line or "usage" in err)
    ]
    if len(err) > 4_000:
        wrong.append(f"a message of {len(err):,} characters")
    return wrong


def _left(case: Case, folder: Path, before: dict[str, bytes]) -> list[str]:
    """Files that changed, and results of a run that failed; nothing hidden ever stays."""
    after = _content(folder)
    wrong = [f"{name} changed" for name in before if after.get(name) != before[name]]
    made = sorted(set(after) - set(before))
    if case.ends != 0 or case.flow == "check":
        wrong += [f"left {name}" for name in made]
    return wrong + [f"left {name}" for name in made if "/." in name] + [fault for name in made for fault in _unsafe(name, after[name])]


def _unsafe(name: str, content: bytes) -> list[str]:
    """Text of a file that became part of a page, or a formula of a table."""
    faults = []
    if name.endswith(".html") and (b"<script>alert" in content or b"<img src=x" in content):
        faults.append(f"{name} holds a script out of the input")
    if name.endswith(".csv") and re.search(rb'(^|,)"?=(cmd|HYPERLINK)', content, flags=re.MULTILINE):
        faults.append(f"{name} holds a formula out of the input")
    return faults


def _content(folder: Path) -> dict[str, bytes]:
    """Small files below a folder by their names, large ones by their length."""
    found = {}
    for path in sorted(Path(os.fsdecode(folder)).rglob("*")):
        if path.is_file() and not path.is_symlink():
            size = path.stat().st_size
            found[os.fsencode(path.relative_to(folder)).decode("latin-1")] = path.read_bytes() if size < 30_000_000 else str(size).encode()
    return found


def main(words: list[str] | None = None) -> int:
    """Run the corpus, print what is not as expected, write the table; 1 if anything is unexplained."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--only", default="", help="kinds that begin so; the table is then left alone")
    parser.add_argument("--show", action="store_true", help="print each case with what was said")
    parser.add_argument("--slow", action="store_true", help="the large files too")
    parser.add_argument("--fuzzing", type=Path, metavar="FILE", help="write what tests/fuzzing/run.py printed into the table")
    asked = parser.parse_args(words)
    if asked.fuzzing:
        write("fuzzing", _fuzzing([json.loads(line) for line in asked.fuzzing.read_text().splitlines()]))
        return 0
    chosen = [case for case in CASES.values() if case.id.startswith(asked.only) and (asked.slow or not case.slow)]
    ended = {case.id: _one(case, asked.show) for case in chosen}
    if not asked.only:
        write("inputs", _inputs([case for case in chosen if not case.slow], ended))
        if asked.slow:
            write("large files", _large([case for case in chosen if case.slow], ended))
    unexplained = sum(bool(end.wrong) for end in ended.values())
    print(f"{len(chosen)} cases, {unexplained} not as expected")
    return int(unexplained > 0)


def _one(case: Case, show: bool) -> Ended:
    with tempfile.TemporaryDirectory() as folder:
        end = run(case, Path(folder))
    if show or end.wrong:
        print(
            f"{'WRONG' if end.wrong else 'ok'} {case.id!r}: {end.code}, {end.seconds:.2f} s; {'; '.join(end.wrong)}",
            f"\n    {end.said.strip()[:300]!r}",
            flush=True,
        )
    return end


def _inputs(chosen: Sequence[Case], ended: dict[str, Ended]) -> list[str]:
    kinds = list(dict.fromkeys(case.kind for case in chosen))
    lines = ["| kind | inputs | right answer | exit 2 | exit 3 | not as expected | slowest [s] |", "|---|---|---|---|---|---|---|"]
    total: Counter[str] = Counter()
    for kind in kinds:
        ends = [ended[case.id] for case in chosen if case.kind == kind]
        tally = Counter(str(end.code) for end in ends) + Counter({"all": len(ends), "wrong": sum(bool(end.wrong) for end in ends)})
        total += tally
        lines.append(_row(kind, tally, max(end.seconds for end in ends)))
    return [*lines, _row("**all**", total, max(ended[case.id].seconds for case in chosen))]


def _row(kind: str, tally: Counter[str], seconds: float) -> str:
    return f"| {kind} | {tally['all']} | {tally['0']} | {tally['2']} | {tally['3']} | {tally['wrong']} | {seconds:.1f} |"


def _large(chosen: Sequence[Case], ended: dict[str, Ended]) -> list[str]:
    lines = ["| file | ended | seconds | memory [MB] |", "|---|---|---|---|"]
    for case in chosen:
        end = ended[case.id]
        said = _MEANS.get(end.code, str(end.code)) + (", NOT AS EXPECTED" if end.wrong else "")
        lines.append(f"| {case.name} | {said} | {end.seconds:.0f} | {end.memory_mb:,.0f} |")
    return lines


def _fuzzing(runs: Sequence[dict[str, Any]]) -> list[str]:
    lines = [
        "| target | reads | minutes | inputs | findings, all mended, kept in the corpus |",
        "|---|---|---|---|---|",
    ]
    for name, target in TARGETS.items():
        own = [one for one in runs if one["target"] == name]
        minutes = sum(one["seconds"] for one in own) / 60
        found = sorted({kind for one in own for kind in one["findings"]})
        said = f"{len(found)} ({', '.join(found)})" if found else "0"
        lines.append(f"| {name} | {target.means} | {minutes:.0f} | {sum(one['executions'] for one in own):,} | {said} |")
    return lines


SECTIONS = ("inputs", "large files", "fuzzing", "faults")
_HEAD = """\
# Bad input and faults

How lossmap takes damaged, hostile and odd files, and what is left when a run is ended from outside. Each input and what is
expected of it stands in `tests/corpus/`; a run counts as expected when it ends with the exit code and the message stated
there, changes no file it was given, and leaves either a whole result or none.
"""
_HOW = {
    "inputs": "`python tests/bad_input.py`",
    "large files": "`python tests/bad_input.py --slow`",
    "fuzzing": "`python tests/fuzzing/run.py TARGET --seconds 1800`, led by coverage, beside other work on the machine",
    "faults": "`python tests/faults.py`; of a season each field's results and the season's own files are told by themselves",
}


def write(name: str, lines: Sequence[str]) -> None:
    """Put one section into the table, in the order of `SECTIONS`; the others stay."""
    parts = re.split(r"^(?=## )", TABLE.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:] if TABLE.exists() else []
    sections = {part.splitlines()[0].removeprefix("## "): part.rstrip("\n") + "\n" for part in parts}
    sections[name] = "\n".join([f"## {name}", "", f"{_HOW[name]}: {datetime.date.today()}", "", *lines, ""])
    TABLE.write_text("\n".join([_HEAD, *(sections[one] for one in SECTIONS if one in sections)]), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
