"""run.toml read back by a TOML reader that is not ours."""

from __future__ import annotations

import hashlib
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.field import FieldMap
from lossmap.base.settings import Settings, build
from lossmap.report.run_file import as_toml, as_typed, changed, run


def test_settings_read_back_are_the_settings_used(field_map: FieldMap) -> None:
    """The [settings] part is a config: the same run can be made again."""
    found = tomllib.loads(run(field_map, {"read": 0.25, "clean": 1.0}, {"summary.json": b"{}"}))
    assert Settings.model_validate(found["settings"]) == field_map.settings
    assert found["settings"]["grid"]["cell"] == "5 m"
    assert found["inputs_sha256"] == dict(field_map.inputs)
    assert list(found["seconds"].items()) == [("read", 0.25), ("clean", 1.0)]
    assert found["field"] == "made-north"
    assert found["results_sha256"] == {"summary.json": hashlib.sha256(b"{}").hexdigest()}


def test_every_typed_setting_is_written_with_its_unit() -> None:
    """Law: any quantity survives the trip, however odd its number."""
    values = {
        "grid": {"cell": "17 ft"},
        "clean": {"jump_speed": "13.7 mph", "turn": "33.3 deg", "pass_start": "1.05 s", "least_width": "33.333 %"},
        "zones": {"speed_above": "4.5 mph", "least_area": "0.37 ac", "moisture_below": "15.5 %"},
        "report": {"units": "metric"},
    }
    settings = build(Settings, values, "made.toml")
    assert Settings.model_validate(tomllib.loads(as_toml(as_typed(settings)))) == settings


def test_only_what_differs_is_named(field_map: FieldMap) -> None:
    """Key, value and default as people type them."""
    assert changed(field_map.settings) == [("clean.turn", "50 deg", "45 deg"), ("report.price", "4.20 USD/bu", "none")]
    assert changed(Settings()) == []


def test_hostile_names_are_keys_like_any_other(hostile_map: FieldMap, hostile: str) -> None:
    """A file name cannot open a table or end a string."""
    assert tomllib.loads(run(hostile_map, {}, {}))["inputs_sha256"] == {hostile: "d" * 64}


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-(2**63), 2**63 - 1), st.floats(allow_nan=False), TEXT),
    lambda inner: st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(TEXT, VALUES, max_size=4))
def test_whatever_is_written_reads_back(values: dict[str, Any]) -> None:
    """Law: TOML out, the same mapping in."""
    assert tomllib.loads(as_toml(values)) == values


def test_an_empty_table_stays(field_map: FieldMap) -> None:
    """A field read from nothing has an empty table of inputs, not a missing one."""
    assert tomllib.loads(as_toml({"inputs": {}, "seconds": {"read": 1.0}})) == {"inputs": {}, "seconds": {"read": pytest.approx(1.0)}}
