"""summary.json against its schema and the field it tells of."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from lossmap.base import reference
from lossmap.base.errors import SettingsError
from lossmap.base.estimates import NOTHING, Delay, Estimate, Pace, ReelSpeed
from lossmap.base.field import FieldMap
from lossmap.report.summary import summary


@pytest.fixture(scope="module")
def schema(root: Path) -> dict[str, Any]:
    """The schema of the project's evidence folder."""
    return json.loads((root / "shared" / "schemas" / "summary.schema.json").read_text(encoding="utf-8"))


def test_summary_fits_its_schema(field_map: FieldMap, schema: dict[str, Any]) -> None:
    """Nothing more and nothing less than the schema describes."""
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(summary(field_map))


def test_the_barest_field_fits_too(field_map: FieldMap, schema: dict[str, Any]) -> None:
    """No counts, no surfaces, no zones, no price, no day, a crop without bushel: nulls, never NaN."""
    unknown = Delay(math.nan, math.nan, math.nan, False, "")
    cleaning = dataclasses.replace(
        field_map.cleaning, flags={}, logged_ha=math.nan, fresh_ha=math.nan, before={}, after={}, flow_delay=unknown, moisture_delay=unknown
    )
    facts = field_map.field.facts.model_copy(update={"harvested_on": None})
    settings = field_map.settings.model_copy(update={"report": field_map.settings.report.model_copy(update={"price": None})})
    bare = dataclasses.replace(
        field_map,
        field=dataclasses.replace(field_map.field, facts=facts, crop=reference.crop("sunflower")),
        settings=settings,
        cleaning=cleaning,
        losses=field_map.losses.iloc[:0],
        loss=dict.fromkeys(field_map.loss, NOTHING),
        loss_of_yield_pct=dict.fromkeys(field_map.loss, NOTHING),
        yield_kg_ha=math.nan,
        surfaces={},
        drivers={},
        curves={},
        zones=field_map.zones.iloc[:0],
        notes=(),
        inputs={},
    )
    content = summary(bare)
    text = json.dumps(content, allow_nan=False)
    jsonschema.Draft202012Validator(schema).validate(json.loads(text))
    assert content["loss"]["total"]["mean_kg_ha"] is None
    assert content["yield_kg_ha"] is None
    assert "money" not in content
    assert "bu_ac" not in text


def test_numbers_are_the_fields(field_map: FieldMap) -> None:
    """Both units, interval and share of each source; counts of points by reason; verdicts as words."""
    content = summary(field_map)
    assert content["loss"]["header"]["mean_kg_ha"] == 71.0
    assert content["loss"]["header"]["high_bu_ac"] == pytest.approx(97.0 / 62.768, rel=1e-4)
    assert content["loss"]["total"]["pct_of_total_yield"] == 1.06
    assert content["points"]["read"] == content["points"]["kept"] + sum(content["points"]["flags"].values())
    assert content["drivers"]["speed"]["verdict"] == "tracks"
    assert content["drivers"]["speed"]["p"] == pytest.approx(0.009)
    assert content["drivers"]["speed"]["share_high_kg_ha"] == 41.0
    curve, last = content["drivers"]["speed"]["curve"], field_map.curves["speed"].loss_kg_ha[-1]
    assert [row[0] for row in curve] == pytest.approx(field_map.curves["speed"].at, rel=1e-5)
    assert curve[-1][1:] == pytest.approx([last.mean, last.low, last.high], rel=1e-5)
    late = content["delay"]["moisture_s"]
    assert late.pop("curve") == [list(place) for place in field_map.cleaning.moisture_delay.curve]
    assert late == {"mean_s": 11.0, "low_s": 9.2, "high_s": 12.8, "applied": True, "note": "moisture read late"}
    assert (content["zones"], content["stops"], content["field_id"]) == (2, 12, "made-north")


def test_cleaning_is_there_in_full(field_map: FieldMap) -> None:
    """Area covered once, level of passes, factors of machines with their doubt, roughness and mass before and after."""
    points = summary(field_map)["points"]
    assert (points["union_ha"], points["pass_offset_pct"]) == (21.9, 1.8)
    assert points["machine_factors"] == {
        "red": {"factor": 1.04, "low": 1.02, "high": 1.06},
        "blue": {"factor": 0.97, "low": 0.95, "high": 0.99},
    }
    assert points["yield_before"]["first_lag"] == 900.0**2
    assert (points["yield_after"]["nugget"], points["yield_after"]["sill"]) == (310.0**2, 1350.0**2)
    assert points["yield_after"]["mass_kg"] == 248_000


def test_a_figure_that_could_not_be_had_is_null(field_map: FieldMap, schema: dict[str, Any]) -> None:
    """Too few neighbours for a semivariance, too few passes, no union: null, and the schema takes it."""
    after = {**field_map.cleaning.after, "first_lag": math.nan, "nugget": math.nan, "sill": math.nan}
    cleaning = dataclasses.replace(field_map.cleaning, after=after, union_ha=math.nan, pass_offset_pct=math.nan, machine_factors={})
    content = summary(dataclasses.replace(field_map, cleaning=cleaning))
    jsonschema.Draft202012Validator(schema).validate(json.loads(json.dumps(content, allow_nan=False)))
    points = content["points"]
    assert points["union_ha"] is points["pass_offset_pct"] is points["yield_after"]["first_lag"] is None
    assert points["machine_factors"] == {}


def test_money_is_loss_times_price(field_map: FieldMap) -> None:
    """Worked by hand: 118 kg/ha of corn at 4.20 USD/bu of 25.4012 kg is 19.51 USD/ha, 7.896 USD/ac, over 20.2 ha 394 USD."""
    money = summary(field_map)["money"]
    assert money["loss_usd_ha"]["mean"] == pytest.approx(118 / 25.4012 * 4.20, rel=1e-4)
    assert money["loss_usd_ac"]["mean"] == pytest.approx(118 / 25.4012 * 4.20 / 2.471054, rel=1e-4)
    assert money["loss_usd"]["high"] == pytest.approx(151 / 25.4012 * 4.20 * field_map.area_ha, rel=1e-4)


def test_a_share_has_its_money(field_map: FieldMap) -> None:
    """22 kg/ha of corn at 4.20 USD/bu: 3.638 USD/ha; by acre and over the field with both ends; nothing without a price."""
    speed = summary(field_map)["drivers"]["speed"]
    assert speed["share_usd_ha"]["mean"] == pytest.approx(22 / 25.4012 * 4.20, rel=1e-4)
    assert speed["share_usd_ac"]["low"] == pytest.approx(6 / 25.4012 * 4.20 / 2.471054, rel=1e-4)
    assert speed["share_usd"]["high"] == pytest.approx(41 / 25.4012 * 4.20 * field_map.area_ha, rel=1e-4)
    settings = field_map.settings.model_copy(update={"report": field_map.settings.report.model_copy(update={"price": None})})
    assert "share_usd" not in summary(dataclasses.replace(field_map, settings=settings))["drivers"]["speed"]


@pytest.mark.parametrize(
    "pace",
    [
        Pace("told", Estimate(1.8, 1.6, 2.0), 2.2, 1.4, 2.9, *[Estimate(5.0, -1.0, 9.0)] * 4, 300.0, 70.0),
        Pace("not priced", missing=("report.hour_value",)),
        Pace("no link"),
    ],
)
def test_pace_and_reel_fit_the_schema(field_map: FieldMap, schema: dict[str, Any], pace: Pace) -> None:
    """Every verdict, with nulls for what it does not say; the reel beside what sources give, or nulls for a crop without."""
    content = summary(dataclasses.replace(field_map, pace=pace, reel=ReelSpeed(1.48, 1.96, 1.27, 1.74, 31.1)))
    jsonschema.Draft202012Validator(schema).validate(json.loads(json.dumps(content, allow_nan=False)))
    assert content["pace"]["verdict"] == pace.verdict
    assert content["pace"]["best_m_s"]["low"] == (1.6 if pace.verdict == "told" else None)
    assert content["reel"]["usual_low"] is None
    soybean = dataclasses.replace(field_map.field, crop=reference.crop("soybean"))
    assert (
        summary(dataclasses.replace(field_map, field=soybean, reel=ReelSpeed(1.48, 1.96, 1.27, 1.74, 31.1)))["reel"]["usual_high"] == 1.25
    )


def test_usual_loss_is_there_with_its_sources(field_map: FieldMap) -> None:
    """Corn: up to 1 bu/ac attainable, and who says so."""
    assert summary(field_map)["usual_loss"] == [
        {"called": "attainable", "low": None, "high": 1.0, "unit": "bu/ac", "sources": ["BROD", "BAY", "HANNA"]}
    ]


def test_a_price_that_is_none_is_refused(field_map: FieldMap) -> None:
    """The refusal names the setting."""
    settings = field_map.settings.model_copy(update={"report": field_map.settings.report.model_copy(update={"price": "4.20 USD/ac"})})
    with pytest.raises(SettingsError) as refused:
        summary(dataclasses.replace(field_map, settings=settings))
    assert str(refused.value) == 'report.price: "USD/ac" cannot be turned into USD/kg; write for example "4.20 USD/bu"'
