"""summary.json of a season."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from lossmap.base.estimates import NOTHING
from lossmap.base.season import LevelContrast
from lossmap.base.tables import SEASON
from lossmap.report import values_of_season
from lossmap.report.season.values import properties
from report.made_seasons import made_season, with_field

SCHEMA = json.loads((Path(__file__).resolve().parents[3] / "shared" / "schemas" / "season.schema.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("made", [(14, 2), (14, 0, ("corn",)), (5, 0, ("sunflower",)), (1, 0), (0, 2), (0, 0)])
def test_it_is_what_its_schema_says(made):
    """Two crops, one, one sold by weight, one field, none mapped, none at all."""
    price = {"price": "0.25 USD/lb"} if "sunflower" in str(made) else {}
    values = values_of_season(made_season(*made, **price))
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.Draft202012Validator(SCHEMA).validate(values)
    json.dumps(values, allow_nan=False)


def test_every_property_of_the_schema_is_described():
    """A number without a meaning and a unit is no use to a script."""

    def properties_of(part):
        for name, one in part.get("properties", {}).items():
            yield name, one
            yield from properties_of(one)
            yield from properties_of(one.get("items", {}))
            if isinstance(one.get("additionalProperties"), dict):
                yield from properties_of(one["additionalProperties"])

    for part in (SCHEMA, *SCHEMA["$defs"].values()):
        for name, one in properties_of(part):
            assert one.get("description") or one.get("$ref") == "#/$defs/driver", name


def test_the_schema_refuses_what_is_not_there():
    """A number without its name, and a verdict nobody gives."""
    values = values_of_season(made_season())
    values["drivers"]["speed"]["verdict"] = "is caused by"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(values, SCHEMA)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(values_of_season(made_season()) | {"more": 1}, SCHEMA)


def test_bushels_stand_where_all_is_one_crop_of_them():
    """Truth: corn's bushel is 56 lb, so 1 bu/ac is 62.768 kg/ha; two crops have none together, each has its own."""
    values = values_of_season(made_season(14, 0, ("corn",)))
    speed, header = values["drivers"]["speed"], values["contrasts"][0]
    assert speed["share_kg_ha"] == 11.0
    assert speed["share_bu_ac"] == pytest.approx(11.0 / 62.768, rel=1e-4)
    assert (header["factor"], header["level"], header["worth_kg_ha"]) == ("header", "auger", 16.0)
    assert header["worth_low_bu_ac"] == pytest.approx(5.0 / 62.768, rel=1e-4)
    assert values["loss"]["total"]["mean_bu_ac"] == pytest.approx(values["loss"]["total"]["mean_kg_ha"] / 62.768, rel=1e-4)
    both = values_of_season(made_season())
    assert "share_bu_ac" not in both["drivers"]["speed"]
    assert "mean_bu_ac" not in both["loss"]["total"]
    assert both["crops"]["soybean"]["loss"]["total"]["mean_bu_ac"] == pytest.approx(
        both["crops"]["soybean"]["loss"]["total"]["mean_kg_ha"] / 67.251, rel=1e-4
    )


def test_grain_and_money_of_a_crop_are_its_loss_times_its_ground():
    """Truth: kg/ha times ha; a price of 4.20 USD/bu is 0.1654 USD/kg of corn."""
    (crop,) = values_of_season(made_season(14, 0, ("corn",)))["crops"].values()
    assert crop["grain_kg"]["mean"] == pytest.approx(crop["loss"]["total"]["mean_kg_ha"] * crop["area_ha"], rel=1e-4)
    assert crop["money_usd"]["mean"] == pytest.approx(crop["grain_kg"]["mean"] * 4.2 / (56 * 0.45359237), rel=1e-4)


def test_a_contrast_that_could_not_be_made_is_there_and_counts_for_nothing():
    """Null numbers, not told, outside the number of comparisons."""
    season = made_season()
    lone = LevelContrast("variety", "V1", "total", 1, 1, NOTHING, NOTHING, float("nan"), False)
    values = values_of_season(dataclasses.replace(season, pooled=dataclasses.replace(season.pooled, contrasts=(lone,))))
    jsonschema.validate(values, SCHEMA)
    assert values["comparisons"] == 0
    assert values["contrasts"][0]["ratio"] == {"mean": None, "low": None, "high": None}
    # a level and its only other are one comparison
    assert values_of_season(season)["comparisons"] == 4


def test_rows_are_the_table_with_bushels_beside():
    """One row a field in the season's order; a failed one has its error, its numbers null."""
    season = with_field(made_season(), 0, zones=np.nan)
    rows = properties(season)
    assert [row["field_id"] for row in rows] == list(season.fields["field_id"])
    assert set(rows[0]) >= {column.name for column in SEASON.columns}
    assert rows[0]["zones"] is None
    names = list(rows[0])
    assert names[names.index("total_kg_ha") + 1] == "total_bu_ac"
    assert rows[-1]["error"].startswith("wet-piece-2/counts.csv")
    assert rows[-1]["total_kg_ha"] is None
    assert "total_bu_ac" not in rows[-1]
