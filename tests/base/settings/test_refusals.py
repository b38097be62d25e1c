"""A file of settings is taken whole, or refused with all its faults in one message."""

from __future__ import annotations

from typing import Any

import pytest
from base.settings.fence import Fence

from lossmap.base.errors import SettingsError
from lossmap.base.settings import build


def _refused(values: dict[str, Any]) -> str:
    with pytest.raises(SettingsError) as refusal:
        build(Fence, {"name": "north"} | values, "farm/fence.toml")
    return str(refusal.value)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"gate": {"widht": "3 m"}}, "farm/fence.toml: gate.widht: no such key; did you mean gate.width?"),
        ({"gate": {"zz": 1}}, "farm/fence.toml: gate.zz: no such key; known: bars, swing, width"),
        ({"gats": []}, "farm/fence.toml: gats: no such key; did you mean gates?"),
        ({"gates": [{}, {"bras": 3}]}, "farm/fence.toml: gates[2].bras: no such key; did you mean bars?"),
        ({"gate": {"width": 3}}, 'farm/fence.toml: gate.width: 3 is not a number with a unit; write for example "30 ft"'),
        ({"gate": {"width": "3 s"}}, 'farm/fence.toml: gate.width: "s" cannot be turned into m; write for example "30 ft"'),
        ({"gate": {"bars": 0}}, "farm/fence.toml: gate.bars: must be at least 1 (is 0)"),
        ({"gate": {"bars": True}}, "farm/fence.toml: gate.bars: must be a whole number (is true)"),
    ],
)
def test_each_fault_in_exact_words(values: dict[str, Any], message: str) -> None:
    """File, dotted key, what was found, what to do; near names are offered."""
    assert _refused(values) == message


def test_a_key_that_is_needed_is_asked_for() -> None:
    """A missing fact is named."""
    with pytest.raises(SettingsError) as refusal:
        build(Fence, {}, "farm/fence.toml")
    assert str(refusal.value) == "farm/fence.toml: name: is missing; add it"


def test_all_faults_stand_in_one_message() -> None:
    """One line a fault, each with its place."""
    lines = _refused({"gate": {"bars": 0, "widht": "3 m"}, "gats": 1}).splitlines()
    assert len(lines) == 3
    assert all(line.startswith("farm/fence.toml: ") for line in lines)


def test_what_a_file_holds_is_cut_short() -> None:
    """A long or odd value in a message stays on its line."""
    message = _refused({"gate": {"width": "x\n\x1b[31m" * 400}})
    assert "\n" not in message
    assert len(message) < 200
