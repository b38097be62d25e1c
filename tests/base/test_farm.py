"""Facts about a farm: typed with their unit, refused with all faults at once."""

from __future__ import annotations

import datetime
import pickle
import re
from pathlib import Path

import pytest

from lossmap.base.errors import SettingsError
from lossmap.base.farm import Combine, Farm, FarmFacts, Money, Reading, StandingField
from lossmap.base.reference import crop
from lossmap.base.settings import build

FIELD = {
    "name": "Creek",
    "crop": "corn",
    "area": "80 ac",
    "expected_yield": "190 bu/ac",
    "moisture": "24 %",
    "measured_on": datetime.date(2025, 9, 28),
}
FACTS = {
    "name": "Made farm",
    "weather": "weather.csv",
    "field": [FIELD],
    "combine": [{"rate": "12 ac/h"}],
    "money": {"corn": {"price": "4.20 USD/bu"}},
}


def test_facts_become_si():
    """Acres and acres an hour are hectares; a bushel waits for its crop; one history or many."""
    facts = build(FarmFacts, FACTS | {"history": "past.csv"}, "farm.toml")
    assert facts.field[0].area == pytest.approx(32.375, abs=0.001)
    assert facts.combine[0].rate == pytest.approx(4.856, abs=0.001)
    assert facts.combine[0].hours_per_day == 10
    assert facts.field[0].expected_yield == "190 bu/ac"
    assert facts.history == ("past.csv",)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"field": [FIELD | {"moisture": "150 %"}]}, "made/farm.toml: field[1].moisture: must be 5 to 60 % (is '150 %')"),
        ({"field": [FIELD | {"standability": 11}]}, "made/farm.toml: field[1].standability: must be 0 to 10 (is 11)"),
        (
            {"field": [FIELD, FIELD]},
            'made/farm.toml: field: two fields are called "Creek"; readings could not be told apart, so rename one',
        ),
        (
            {"field": [FIELD | {"location": [200.0, 10.0]}]},
            "made/farm.toml: field[1].location: [200, 10] is no place; write [longitude, latitude] in degrees",
        ),
        (
            {"field": [{key: value for key, value in FIELD.items() if key != "measured_on"}]},
            "made/farm.toml: field[1]: moisture and measured_on belong together; give both, or neither and a row of readings",
        ),
        (
            {"money": {"corn": {"prise": "4 USD/bu"}}},
            "made/farm.toml: money.corn.price: is missing; add it\nmade/farm.toml: money.corn.prise: no such key",
        ),
    ],
)
def test_refusals(change, message):
    """One message, each fault with its place."""
    with pytest.raises(SettingsError, match=f"^{re.escape(message)}"):
        build(FarmFacts, FACTS | change, "made/farm.toml")


def test_no_field_and_no_combine():
    """A farm needs one of each."""
    with pytest.raises(SettingsError, match=r"field: .*at least 1 item"):
        build(FarmFacts, FACTS | {"field": []}, "farm.toml")


def test_a_farm_survives_the_trip_to_another_process(tmp_path):
    """It is pickled whole, and its folder names it."""
    corn = crop("corn")
    field = StandingField("Creek", corn, 32.0, 12_000.0, (Reading(datetime.date(2025, 9, 28), 24.0),))
    farm = Farm(
        tmp_path / "made", "Made farm", (field,), (Combine("red", 4.8, 10.0),), {"corn": Money(0.165, 0.002, 0.0, 0.005)}, "weather.csv"
    )
    again = pickle.loads(pickle.dumps(farm))
    assert again == farm
    assert again.id == "made"


def test_no_file_outside_the_farm(tmp_path):
    """A path that leads out of the farm's folder is refused."""
    farm = Farm(tmp_path / "made", "Made farm", (), (), {}, "weather.csv")
    assert farm.file("weather.csv") == Path(tmp_path / "made" / "weather.csv").resolve()
    with pytest.raises(
        SettingsError, match=r"^made/farm\.toml: \.\./other\.csv lies outside the farm's folder; copy the file into the folder$"
    ):
        farm.file("../other.csv")


def test_a_short_day_slows_a_machine():
    """Time is told by the longest day: a machine that works half of it cuts half its rate in each of its hours."""
    long, short = Combine("long", 5.0, 12.0), Combine("short", 5.0, 6.0)
    farm = Farm(Path("made"), "Made", (), (short, long), {}, "weather.csv")
    assert farm.long_day_h == 12
    assert farm.pace_ha_h(long) == 5
    assert farm.pace_ha_h(short) == 2.5
