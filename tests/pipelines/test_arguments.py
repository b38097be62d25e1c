"""What may be asked of the command, and what is refused before anything is read."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from lossmap.pipelines.arguments import parser


def test_what_is_asked_for_is_understood():
    """Each flow with its own arguments; what was left out is as the help says."""
    asked = parser().parse_args(["season", "fields", "--set", "a=1", "--set", "b=2", "--cores", "4", "-q"])
    assert (asked.command, asked.folder, asked.set, asked.cores, asked.quiet) == ("season", Path("fields"), ["a=1", "b=2"], 4, True)
    assert (asked.out, asked.config, asked.cluster, asked.again, asked.json) == (Path("out"), None, None, False, False)
    assert parser().parse_args(["rank", "farm", "--on", "2025-09-25"]).on == datetime.date(2025, 9, 25)
    assert parser().parse_args(["settings"]).flow is None
    assert parser().parse_args([]).command is None


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["season", "x", "--cores", "-1"], '"-1" is no number of cores; write 4'),
        (["season", "x", "--cores", "many"], '"many" is no number of cores; write 4'),
        (["season", "x", "--cores", "1", "--cluster", "tcp://x:1"], "not allowed with argument"),
        (["rank", "x", "--on", "25.9.2025"], '"25.9.2025" is not a day; write 2025-10-18'),
        (["rank", "x", "--on", "1025-09-25"], '"1025-09-25" is not a day; write 2025-10-18'),
        (["map", "x", "-v", "-q"], "not allowed with argument"),
        (["settings", "check"], "invalid choice: 'check'"),
        (["draw", "x"], "invalid choice: 'draw'"),
    ],
)
def test_what_cannot_be_asked_ends_with_two(capsys, words, message):
    """The word, and what to write; code 2."""
    with pytest.raises(SystemExit) as ended:
        parser().parse_args(words)
    assert ended.value.code == 2
    assert message in capsys.readouterr().err


@pytest.mark.parametrize("flow", ["map", "stops", "rank", "season", "check", "settings"])
def test_every_flow_has_its_help(capsys, flow):
    """`lossmap FLOW --help` says what it does and what to give it; code 0."""
    with pytest.raises(SystemExit) as ended:
        parser().parse_args([flow, "--help"])
    assert ended.value.code == 0
    said = capsys.readouterr().out
    assert said.startswith(f"usage: lossmap {flow} ")
    assert len(said.splitlines()) > 6
