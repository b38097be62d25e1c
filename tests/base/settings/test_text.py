"""What a command line lays over a file, and the listing of all settings."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.errors import SettingsError
from lossmap.base.settings import Settings, as_toml, build, merged, overridden

leaves = st.one_of(st.integers(), st.text(max_size=5))
keys = st.sampled_from("abc")
trees = st.recursive(st.dictionaries(keys, leaves, max_size=3), lambda inner: st.dictionaries(keys, inner, max_size=3))


def test_set_lays_over_the_file() -> None:
    """The last --set wins over earlier ones and over the file; what it does not name stays."""
    values = {"gate": {"bars": 4, "width": "3 m"}, "name": "north"}
    over = overridden(values, ['gate.width="4 m"', "gate.bars=6", "gate.bars=7", "name=south"])
    assert over == {"gate": {"bars": 7, "width": "4 m"}, "name": "south"}
    assert values == {"gate": {"bars": 4, "width": "3 m"}, "name": "north"}


@pytest.mark.parametrize("assignment", ["grid.cell", "=3", ""])
def test_set_without_key_or_value_is_refused(assignment: str) -> None:
    """Said with an example to copy."""
    with pytest.raises(SettingsError) as refusal:
        overridden({}, [assignment])
    assert str(refusal.value) == f'--set {assignment}: is not KEY=VALUE; write for example --set grid.cell="10 m"'


@given(below=trees, above=trees)
def test_merging_is_a_law(below: dict[str, Any], above: dict[str, Any]) -> None:
    """Nothing laid over is nothing, over itself is itself, and every leaf above shows."""
    assert merged(below, {}) == below == merged(below, below)
    assert merged(merged(below, above), above) == merged(below, above)
    assert set(merged(below, above)) == set(below) | set(above)


def test_the_listing_is_a_file_a_run_reads() -> None:
    """`as_toml` holds every setting, and read back gives the defaults."""
    text = as_toml()
    assert build(Settings, tomllib.loads(text), "settings.toml") == Settings()
    for part in Settings.model_fields.values():
        for key in getattr(part.annotation, "model_fields", {}):
            assert re.search(rf"^(# )?{key} = ", text, flags=re.MULTILINE), key
