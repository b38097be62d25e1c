"""A farm's facts, readings and weather as people write them."""

from __future__ import annotations

import datetime
import json
import re

import pandas as pd
import pytest

from lossmap.base.errors import ReadError, SettingsError
from lossmap.read import farm_fingerprints, read_farm, read_farm_weather

FARM = """\
name = "Made farm"
weather = "weather.csv"
history = "past.csv"
readings = "readings.csv"
dryer = "30000 bu/d"

[[combine]]
rate = "12 ac/h"

[[combine]]
rate = "9 ac/h"
hours_per_day = "8 h"

[money.corn]
price = "4.20 USD/bu"
discounts = [{ above = "16 %", discount = "1 %" }, { above = "15.5 %", discount = "0.5 %" }]

[[field]]
name = "Creek"
crop = "maize"
area = "80 ac"
expected_yield = "190 bu/ac"
moisture = "24 %"
measured_on = 2025-09-28
standability = 2
location = [-93.4, 42.3]

[[field]]
name = "Bench"
crop = "corn"
area = "20 ha"
expected_yield = "11 t/ha"
boundary = "bench.geojson"
map = "out/quarry"
"""

READINGS = "field,date,moisture_pct,cut\nCreek,2025-10-02,21.5,\nBench,2025-10-01,23,no\nCreek,2025-10-05,,yes\n"
BENCH = {"type": "Polygon", "coordinates": [[[-93.41, 42.3], [-93.4, 42.3], [-93.4, 42.31], [-93.41, 42.31], [-93.41, 42.3]]]}
QUARRY = {
    "yield_kg_ha": 9800.0,
    "moisture_pct": 17.0,
    "loss": {
        "total": {"mean_kg_ha": 200.0},
        "header": {"mean_kg_ha": 120.0, "low_kg_ha": 90.0, "high_kg_ha": 160.0},
        "threshing": {"mean_kg_ha": 30.0, "low_kg_ha": 20.0, "high_kg_ha": 45.0},
    },
    "drivers": {"dryness": {"verdict": "tracks", "effect": 1.49, "reference": 18.0}},
}
WEATHER = "date,tmin_c,tmax_c,rain_mm\n2025-10-01,4,15,0\n"
PAST = "date,tmin_c,tmax_c,rain_mm\n2024-10-01,3,14,1\n2025-10-01,9,19,9\n"


@pytest.fixture
def farm_folder(tmp_path):
    """Write a made farm, any part replaced."""

    def write(facts=FARM, readings=READINGS, quarry=QUARRY):
        folder = tmp_path / "made"
        (folder / "out" / "quarry").mkdir(parents=True, exist_ok=True)
        (folder / "farm.toml").write_text(facts)
        (folder / "readings.csv").write_text(readings)
        (folder / "weather.csv").write_text(WEATHER)
        (folder / "past.csv").write_text(PAST)
        (folder / "bench.geojson").write_text(json.dumps(BENCH))
        (folder / "out" / "quarry" / "summary.json").write_text(json.dumps(quarry))
        return folder

    return write


def test_everything_is_understood(farm_folder):
    """Units, crops' by-names, readings of both places, cuts, boundaries, machines of their own names, money with the table's rest."""
    farm = read_farm(farm_folder())
    creek, bench = farm.fields
    assert creek.crop.name == "corn"
    assert creek.area_ha == pytest.approx(32.375, abs=0.001)
    assert creek.yield_kg_ha == pytest.approx(190 * 62.768, rel=1e-4)
    assert [(reading.on.day, reading.moisture_pct) for reading in creek.readings] == [(28, 24.0), (2, 21.5)]
    assert creek.cut_on == datetime.date(2025, 10, 5)
    assert bench.cut_on is None
    assert bench.yield_kg_ha == 11_000
    assert bench.place == pytest.approx((-93.405, 42.305), abs=1e-3)
    assert [combine.name for combine in farm.combines] == ["combine 1", "combine 2"]
    assert farm.combines[1].hours_per_day == 8
    money = farm.money["corn"]
    assert money.price_usd_kg == pytest.approx(4.2 / 25.401, rel=1e-4)
    assert money.drying_usd_kg_point == pytest.approx(0.045 / 25.401, rel=1e-4)
    assert money.discounts == ((15.5, 0.005), (16.0, 0.01))
    assert farm.dryer_kg_point_day == pytest.approx(30_000 * 25.401 / 86_400 * 86_400, rel=1e-4)


def test_a_map_gives_its_loss(farm_folder):
    """Header and threshing over all that grew, the moisture it was cut at, and the slope where loss tracked dryness."""
    measured = read_farm(farm_folder()).fields[1].measured
    assert measured.share.mean == pytest.approx(150 / 10_000)
    assert measured.share.low == pytest.approx(110 / 10_000)
    assert measured.moisture_pct == 17
    assert measured.per_dry_point == pytest.approx(0.1994, abs=1e-4)
    assert measured.dry_below_pct == 18
    still = QUARRY | {"drivers": {"dryness": {"verdict": "no sign", "effect": 1.2, "reference": 18.0}}}
    assert read_farm(farm_folder(quarry=still)).fields[1].measured.per_dry_point == 0


def test_weather_of_the_season_goes_before_the_past(farm_folder):
    """A day in both files is the season's."""
    table = read_farm_weather(read_farm(farm_folder()))
    assert table["tmin_c"].tolist() == [3, 4]
    assert table["day_on"].tolist() == [pd.Timestamp("2024-10-01"), pd.Timestamp("2025-10-01")]


def test_every_input_has_its_hash(farm_folder):
    """Facts, weather and past; a changed file changes its own."""
    farm = read_farm(farm_folder())
    before = farm_fingerprints(farm)
    (farm.folder / "past.csv").write_text(PAST + "2024-10-02,3,14,1\n")
    after = farm_fingerprints(farm)
    assert set(before) == {"farm.toml", "weather.csv", "past.csv", "readings.csv"}
    assert [name for name in before if before[name] != after[name]] == ["past.csv"]


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        (FARM.replace('"maize"', '"corm"'), 'made/farm.toml: field[1].crop: "corm" is not in the crop table; did you mean corn?'),
        (
            FARM.replace("190 bu/ac", "1900 bu/ac"),
            "made/farm.toml: field[1].expected_yield: 1900 bu/ac is no yield of corn (at most 23,000 kg/ha); correct it",
        ),
        (
            FARM.replace('"4.20 USD/bu"', '"4.20"'),
            'made/farm.toml: money.corn: "4.20" is not a number with a unit; write for example "4.20 USD/bu"',
        ),
        (
            FARM.replace("[money.corn]", "[money.wheat]"),
            "made/farm.toml: money.wheat: no source says how wheat dries and what it loses while it waits; known: corn, soybean",
        ),
        (FARM.replace('"24 %"', '"150 %"'), "made/farm.toml: field[1].moisture: must be 5 to 60 % (is '150 %')"),
    ],
)
def test_facts_refused(farm_folder, facts, message):
    """Each fault with its place."""
    with pytest.raises(SettingsError, match=f"^{re.escape(message)}$"):
        read_farm(farm_folder(facts))


def test_files_that_are_not_there(farm_folder, tmp_path):
    """A folder without farm.toml, a weather file and a map that do not exist, a summary that is another's."""
    with pytest.raises(SettingsError, match=r"no such folder; give a folder whose farm\.toml has name"):
        read_farm(tmp_path / "nowhere")
    folder = farm_folder()
    (folder / "weather.csv").unlink()
    with pytest.raises(ReadError, match=r"^made/farm\.toml: weather: no such file \(weather\.csv\); paths are relative to farm\.toml$"):
        read_farm_weather(read_farm(folder))
    (farm_folder() / "past.csv").unlink()
    with pytest.raises(ReadError, match=r"^made/farm\.toml: history: no such file \(past\.csv\)"):
        read_farm_weather(read_farm(folder))
    with pytest.raises(ReadError, match=r"^made/out/quarry/summary\.json: does not tell header loss, threshing loss and moisture"):
        read_farm(farm_folder(quarry={"farm": "other"}))
    with pytest.raises(SettingsError, match=r"lies outside the farm's folder"):
        read_farm(farm_folder(FARM.replace("out/quarry", "../../quarry")))


def test_a_farm_without_prices_is_told_the_line(tmp_path):
    """What to write stands in the refusal, and a field's folder is told from a farm's."""
    (tmp_path / "farm.toml").write_text(re.sub(r"\[money.corn\][^\[]*\[[^\[]*", "", FARM, count=1))
    with pytest.raises(SettingsError, match=r'money: is missing; add it, for example \[money.corn\] with price = "4.20 USD/bu"'):
        read_farm(tmp_path)
    (tmp_path / "hill").mkdir()
    (tmp_path / "hill" / "field.toml").write_text("")
    with pytest.raises(SettingsError, match=r"hill: is a field \(it holds field.toml\), not a farm; run lossmap map on it"):
        read_farm(tmp_path / "hill")
