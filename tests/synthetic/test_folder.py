"""What is written is what a farmer has, and reads back."""

from __future__ import annotations

import dataclasses
import datetime
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from synthetic.plans import SMALL, layout

from lossmap.base.errors import SettingsError
from lossmap.base.field import FieldFacts
from lossmap.base.settings import build
from lossmap.synthetic import FT2_M2, Layout, make, write


def test_facts_are_what_a_field_needs(tmp_path: Path) -> None:
    """field.toml passes the model of a field's facts and says what the plan says."""
    plan = dataclasses.replace(SMALL, discharge_width_m=1.524, stated_seed_mass_g=160)
    write(make(plan, 4), tmp_path / "made", dataclasses.replace(layout("csv"), facts={"name": 'Made "quarter"', "header": "draper"}))
    facts = build(FieldFacts, tomllib.loads((tmp_path / "made" / "field.toml").read_text()), "made/field.toml")
    assert facts.name == 'Made "quarter"'
    assert facts.crop == "soybean"
    assert facts.harvested_on == datetime.date(2025, 10, 18)
    assert facts.header_width == pytest.approx(9.144)
    assert facts.discharge_width == pytest.approx(1.524)
    assert facts.thousand_seed_mass == 160
    assert facts.points[0].columns["mass_flow"].unit == "lb/s"


def test_count_sheet_states_one_frame_and_how_many(tmp_path: Path) -> None:
    """Area of a frame times frames is the area looked at; columns nobody filled are not there."""
    made = make(SMALL, 4)
    write(made, tmp_path / "made", Layout(words={"seeds": "beans", "behind_header": "behind head"}))
    sheet = pd.read_csv(tmp_path / "made" / "counts.csv")
    np.testing.assert_allclose(sheet["frame_ft2"] * sheet["frames"] * FT2_M2, made.counts["frame_m2"], rtol=1e-3)
    assert sheet["beans"].tolist() == made.counts["seeds"].tolist()
    assert set(sheet["position"]) == {"before_header", "behind head", "behind_combine"}
    assert not {"ears", "grams"} & set(sheet.columns)


def test_a_role_that_is_none_is_refused(tmp_path: Path) -> None:
    """A layout with a misspelt role is refused before anything is written."""
    with pytest.raises(SettingsError) as refusal:
        write(make(SMALL, 4), tmp_path / "made", Layout(columns={"spede": ("Speed", "mph")}))
    assert str(refusal.value) == 'Layout: role "spede" is not known; did you mean speed?'
    assert not (tmp_path / "made").exists()
