"""A field's facts, and that nothing outside its folder is touched."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest

from lossmap.base.errors import SettingsError, TooLittleData
from lossmap.base.field import ROLES, Field, FieldFacts, PointsFile
from lossmap.base.reference import crop
from lossmap.base.settings import build

LEAST: dict[str, Any] = {"name": "Creek (made)", "crop": "corn", "header_width": "30 ft"}


def _field(folder: Path, **facts: Any) -> Field:
    return Field(folder, build(FieldFacts, LEAST | facts, "creek/field.toml"), crop("corn"))


def test_three_facts_are_enough(tmp_path: Path) -> None:
    """Name, crop and header width; the rest is unknown, and residue falls as wide as the header."""
    field = _field(tmp_path / "creek")
    assert field.id == "creek"
    assert field.facts.header_width == pytest.approx(9.144)
    assert field.discharge_width_m == pytest.approx(9.144)
    assert field.facts.points == field.facts.counts == ()


def test_facts_are_read_with_their_units() -> None:
    """Widths in feet, seed mass in grams, dates as dates, one or several files."""
    facts = build(
        FieldFacts,
        LEAST
        | {
            "harvested_on": datetime.date(2025, 10, 18),
            "discharge_width": "5 ft",
            "thousand_seed_mass": "290 g",
            "points": [{"path": "a.csv", "interval": "500 ms", "columns": {"speed": {"column": "spd", "unit": "mph"}, "time": "when"}}],
            "counts": [{"path": "b.csv"}, {"path": "c.gpkg", "layer": "frames"}],
        },
        "creek/field.toml",
    )
    assert facts.discharge_width == pytest.approx(1.524)
    assert facts.thousand_seed_mass == 290
    assert facts.points[0].interval == pytest.approx(0.5)
    assert facts.points[0].columns["speed"].unit == "mph"
    assert facts.points[0].columns["time"].column == "when"
    assert facts.points[0].columns["time"].unit is None
    assert [part.layer for part in facts.counts] == [None, "frames"]


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        ({"crpo": "corn"}, "creek/field.toml: crpo: no such key; did you mean crop?"),
        ({"header_width": 30}, 'creek/field.toml: header_width: 30 is not a number with a unit; write for example "30 ft"'),
        (
            {"thousand_seed_mass": "290 ft"},
            'creek/field.toml: thousand_seed_mass: "ft" cannot be turned into g; write for example "290 g"',
        ),
        ({"points": [{"pth": "a.csv", "path": "a.csv"}]}, "creek/field.toml: points[1].pth: no such key; did you mean path?"),
        ({"name": " \t"}, 'creek/field.toml: name: is blank; write for example name = "Creek piece"'),
        ({"counts": [{"path": "a", "frames": True}]}, "creek/field.toml: counts[1].frames: must be a whole number (is true)"),
        (
            {"counts": [{"path": "a", "frame": "0 m2"}]},
            "creek/field.toml: counts[1].frame: must be more than 0, up to 1,000 m2 (is '0 m2')",
        ),
        ({"counts": [{"layer": "a"}]}, "creek/field.toml: counts[1].path: is missing; add it"),
        (
            {"points": [{"path": "a.csv", "columns": {"spede": "x"}}]},
            f"creek/field.toml: points[1].columns: spede is no role; the roles are {', '.join(ROLES)}",
        ),
    ],
)
def test_wrong_facts_are_refused(facts: dict[str, Any], message: str) -> None:
    """File, place, what is wrong, what to do."""
    with pytest.raises(SettingsError) as refusal:
        build(FieldFacts, LEAST | facts, "creek/field.toml")
    assert str(refusal.value) == message


def test_the_reel_is_a_diameter_and_turns_a_minute() -> None:
    """A length with its unit and a plain number, whose unit is in its name."""
    facts = build(FieldFacts, LEAST | {"reel_diameter": "42 in", "reel_rpm": 46}, "creek/field.toml")
    assert facts.reel_diameter == pytest.approx(1.0668)
    assert facts.reel_rpm == 46
    with pytest.raises(SettingsError) as refusal:
        build(FieldFacts, LEAST | {"reel_rpm": 900}, "creek/field.toml")
    assert str(refusal.value) == "creek/field.toml: reel_rpm: must be 1 to 200 (is 900)"


@pytest.mark.parametrize("outside", ["../other/points.csv", "/etc/hostname", "a/../../x.csv"])
def test_files_outside_the_folder_are_refused(outside: str, tmp_path: Path) -> None:
    """Neither up, nor from the root."""
    with pytest.raises(SettingsError) as refusal:
        _field(tmp_path / "creek").file(outside)
    assert str(refusal.value) == f"creek/field.toml: {outside} lies outside the field's folder; copy the file into the folder"


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    """A link does not help either."""
    (tmp_path / "secret.csv").write_text("x")
    (tmp_path / "creek").mkdir()
    (tmp_path / "creek" / "points.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(SettingsError, match="lies outside the field's folder"):
        _field(tmp_path / "creek").file("points.csv")


def test_files_below_the_folder_are_found(tmp_path: Path) -> None:
    """Relative to the folder, at any depth."""
    assert _field(tmp_path / "creek").file("logs/a.csv") == (tmp_path / "creek" / "logs" / "a.csv").resolve()


def test_every_role_may_be_chosen() -> None:
    """Each role of the contract is a key of [points.columns]."""
    points = build(PointsFile, {"path": "a.csv", "columns": dict.fromkeys(ROLES, "x")}, "field.toml")
    assert set(points.columns) == set(ROLES)
    contract = "longitude latitude easting northing time mass_flow yield moisture speed distance interval width"
    assert set(f"{contract} heading work machine pass elevation".split()) <= set(ROLES)


def test_a_log_or_a_boundary_says_where_a_field_lies(tmp_path: Path) -> None:
    """Either will do; with neither the message names both, and what to write."""
    _field(tmp_path / "creek", boundary="boundary.geojson").check_ground()
    _field(tmp_path / "creek", points=[{"path": "points.csv"}]).check_ground()
    with pytest.raises(TooLittleData) as refused:
        _field(tmp_path / "creek", counts=[{"path": "counts.csv"}]).check_ground()
    assert str(refused.value) == (
        "creek/field.toml: names neither a log nor a boundary, so there is no ground to place stops on; "
        'add boundary = "boundary.geojson", or a [[points]] with path = "points.csv"'
    )


@pytest.mark.parametrize("day", [20251018, "yesterday", datetime.date(25, 10, 18), datetime.datetime(2025, 10, 18, 7, 0)])
def test_what_is_no_day_of_a_harvest(day: object) -> None:
    """A number, which might be taken for seconds, a word, a year of two digits and a time of day are refused."""
    assert _field(Path(), harvested_on="2025-10-18").facts.harvested_on == datetime.date(2025, 10, 18)
    with pytest.raises(SettingsError, match="creek/field.toml: harvested_on: "):
        _field(Path(), harvested_on=day)
