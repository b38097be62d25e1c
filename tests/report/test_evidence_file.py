"""evidence.json holds what the field brings, and `read` gives it back."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import jsonschema
import pytest
import shapely

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.field import FieldMap
from lossmap.base.season import DriverEvidence, FieldEvidence
from lossmap.base.tables import DRIVE, FACTORS, SOURCES
from lossmap.read import read_evidence
from lossmap.report.evidence_file import evidence
from lossmap.report.files import json_text, write_text


@pytest.fixture(scope="module")
def schema(root: Path) -> dict[str, Any]:
    """The schema of the project's evidence folder."""
    return dict(json.loads((root / "shared" / "schemas" / "evidence.schema.json").read_text(encoding="utf-8")))


def read_back(field_map: FieldMap, folder: Path) -> FieldEvidence:
    """Written, and read again."""
    write_text(folder / "evidence.json", json_text(evidence(field_map)))
    return read_evidence(folder)


def test_what_is_written_is_what_is_read(field_map: FieldMap, tmp_path: Path) -> None:
    """Round the file and back: facts, losses and drivers of the map itself."""
    found = read_back(field_map, tmp_path)
    facts = field_map.field.facts
    assert (found.field_id, found.crop, found.stops) == (field_map.field.id, field_map.field.crop.name, len(field_map.losses))
    assert found.area_ha == pytest.approx(field_map.area_ha, rel=1e-5)
    assert found.loss == field_map.loss
    assert found.drivers == field_map.posteriors
    assert found.factors == {name: getattr(facts, name) for name in found.factors}


def test_doubt_of_the_seed_s_mass_is_shared_where_none_was_weighed(field_map: FieldMap, tmp_path: Path) -> None:
    """The total's doubt beyond that of counting; none where field.toml gives the mass."""
    wide, narrow = Estimate(100.0, 80.0, 125.0), Estimate(100.0, 84.0, 119.0)
    known = dataclasses.replace(field_map, loss={"total": wide}, loss_by_counting=narrow)
    of_mass = {}
    for mass in (None, 290.0):
        facts = field_map.field.facts.model_copy(update={"thousand_seed_mass": mass})
        of_mass[mass] = read_back(dataclasses.replace(known, field=dataclasses.replace(field_map.field, facts=facts)), tmp_path).mass_doubt
    assert of_mass == {None: pytest.approx(math.sqrt(wide.log_sd**2 - narrow.log_sd**2), rel=1e-5), 290.0: 0.0}


def test_six_figures_are_enough(field_map: FieldMap, tmp_path: Path) -> None:
    """Weights that no six figures hold add to 1 again, each within a millionth."""
    third = DriverEvidence((1 / 3, 1 / 3, 1 / 3), (0.1, 1 / 7, 2 / 7), (1 / 9, 1 / 11, 1 / 13), 0.4, 0.3, 13.0, 13.2, (0.0, 1 / 3))
    found = read_back(dataclasses.replace(field_map, posteriors={"dryness": third}), tmp_path).drivers["dryness"]
    assert math.fsum(found.weights) == pytest.approx(1, abs=1e-12)
    for name, value in dataclasses.asdict(third).items():
        assert getattr(found, name) == pytest.approx(value, rel=2e-6), name


def test_a_field_that_nobody_counted_brings_its_area(field_map: FieldMap, tmp_path: Path) -> None:
    """What is not known is not there, and that is no fault."""
    bare = dataclasses.replace(field_map, posteriors={}, losses=field_map.losses.iloc[:0], loss=dict.fromkeys(field_map.loss, NOTHING))
    found = read_back(bare, tmp_path)
    assert (found.loss, found.drivers, found.stops) == ({}, {}, 0)


def test_factors_are_those_of_the_facts(field_map: FieldMap, tmp_path: Path) -> None:
    """Only those that field.toml gives, word for word, hostile or not."""
    facts = field_map.field.facts.model_copy(update={"header": "=draper<b>", "operator": None, "variety": "made 7"})
    found = read_back(dataclasses.replace(field_map, field=dataclasses.replace(field_map.field, facts=facts)), tmp_path)
    assert found.factors["header"] == "=draper<b>"
    assert found.factors["variety"] == "made 7"
    assert "operator" not in found.factors


def test_losses_that_are_known_come_back(field_map: FieldMap, tmp_path: Path) -> None:
    """A total and a source alone: those two come back."""
    some = {"total": Estimate(100.0, 80.0, 130.0), "header": Estimate(60.0, 40.0, 90.0), "preharvest": NOTHING}
    assert read_back(dataclasses.replace(field_map, loss=some), tmp_path).loss == {name: some[name] for name in ("total", "header")}


def test_the_outline_is_the_fields(field_map: FieldMap) -> None:
    """A GeoJSON geometry on WGS84 that covers the field's ground to half a metre."""
    outline = shapely.geometry.shape(evidence(field_map)["outline"])
    there = gpd.GeoSeries([outline], crs="EPSG:4326").to_crs(field_map.crs).iloc[0]
    assert there.is_valid
    assert shapely.hausdorff_distance(there, field_map.outline) < 0.6


def test_it_is_what_its_schema_says(field_map: FieldMap, schema: dict[str, Any]) -> None:
    """Nothing more and nothing less, of a field with counts and of one that nobody counted."""
    jsonschema.Draft202012Validator.check_schema(schema)
    bare = dataclasses.replace(field_map, posteriors={}, losses=field_map.losses.iloc[:0], loss=dict.fromkeys(field_map.loss, NOTHING))
    for made in (field_map, bare):
        jsonschema.Draft202012Validator(schema).validate(json.loads(json_text(evidence(made))))


def test_the_schema_refuses_what_no_map_writes(field_map: FieldMap, schema: dict[str, Any]) -> None:
    """A key that is not there, a weight below 0, a factor nobody compares, a line for an outline."""
    whole = json.loads(json_text(evidence(field_map)))
    assert "speed" in whole["drivers"]
    speed = whole["drivers"]["speed"]
    for spoilt in (
        {"more": 1},
        {"stops": 1.5},
        {"drivers": {"speed": speed | {"weights": [-1.0]}}},
        {"drivers": {"rain": speed}},
        {"factors": {"colour": "red"}},
        {"outline": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]}},
    ):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(whole | spoilt, schema)


def test_every_property_of_the_schema_is_described(schema: dict[str, Any]) -> None:
    """A number without a meaning and a unit is no use to a script; and the factors are those of the program."""

    def properties_of(part: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
        for name, one in part.get("properties", {}).items():
            yield name, one
            yield from properties_of(one)

    for part in (schema, *schema["$defs"].values()):
        assert all(one.get("description") for _, one in properties_of(part))
    assert set(schema["properties"]["factors"]["properties"]) == set(FACTORS)
    assert set(schema["properties"]["loss"]["properties"]) == {"total", *SOURCES}
    assert set(schema["properties"]["drivers"]["properties"]) == set(DRIVE)
