from __future__ import annotations

import pandas as pd
import pytest

from lossmap.base.errors import ReadError
from lossmap.base.field import ColumnChoice
from lossmap.read.detect import columns_of, header_words, unit_in_header
from lossmap.read.raw import Raw


def raw(**columns):
    """A file of three records with these columns."""
    return Raw("log.csv", pd.DataFrame({name: values for name, values in columns.items()}), 2)


def found(table, **chosen):
    """role -> (column, unit) as detected for corn."""
    choices = {role: ColumnChoice(**choice) if isinstance(choice, dict) else ColumnChoice(column=choice) for role, choice in chosen.items()}
    return {one.role: (one.column, one.unit) for one in columns_of(table, choices, 56.0)}


@pytest.mark.parametrize(
    ("header", "words", "unit", "to"),
    [
        ("Yield (bu/ac)", "yield", "bu/ac", "kg/ha"),
        ("Moisture [%]", "moisture", "%", "percent"),
        ("mass_flow_kg_s", "mass flow", "kg/s", "kg/s"),
        ("Swath Width(ft)", "swath width", "ft", "m"),
        ("GroundSpeed mph", "ground speed", "mph", "m/s"),
        ("frame_ft2", "frame", "ft2", "m2"),
        ("speed", "speed", None, "m/s"),
    ],
)
def test_a_header_says_words_and_unit(header, words, unit, to):
    """The unit in a header is taken off its words, in brackets or as its last words."""
    assert header_words(header) == words
    assert unit_in_header(header, to, 56.0) == unit


def test_a_unit_of_another_kind_is_not_taken():
    """'Distance (s)' states no length, so no unit is found in it."""
    assert unit_in_header("Distance (s)", "m") is None


def test_trade_words_are_found():
    """Columns named in the trade's words play their roles."""
    table = raw(**{"Long": [-93.6], "Lat": [41.9], "Yield (bu/ac)": [180.0], "Moisture": [17.0], "Speed (mph)": [4.5], "Crop": ["corn"]})
    assert found(table) == {
        "longitude": ("Long", "deg"),
        "latitude": ("Lat", "deg"),
        "yield": ("Yield (bu/ac)", "bu/ac"),
        "moisture": ("Moisture", "percent"),
        "speed": ("Speed (mph)", "mph"),
    }


@pytest.mark.parametrize(("value", "unit"), [(17.0, "percent"), (0.17, "fraction"), (170_000.0, "ppm")])
def test_moisture_has_one_unit_that_fits(value, unit):
    """Percent, fraction and parts per million lie apart, so the values decide."""
    assert found(raw(moisture=[value]))["moisture"] == ("moisture", unit)


def test_a_unit_that_could_be_two_is_asked_for():
    """A speed of 4.6 may be mph or km/h: not guessed, and the line to write is shown."""
    with pytest.raises(ReadError) as refused:
        found(raw(speed=[4.6]))
    assert str(refused.value) == (
        "log.csv: speed: column speed has no unit; under [points.columns] in field.toml write "
        'speed = { column = "speed", unit = "mph" } with the right unit, or speed = "" to leave it out'
    )


def test_an_impossible_unit_is_refused_with_the_value_it_makes():
    """4.6 m/s in metres a second is no combine: the middle value is shown."""
    with pytest.raises(ReadError, match=r"the middle value of v would be 46 m/s if it is in m/s"):
        found(raw(v=[46.0]), speed={"column": "v", "unit": "m/s"})


def test_the_owner_wins_and_may_leave_a_column_out():
    """A chosen column goes before a better-named one; an empty name means none."""
    table = raw(speed=[4.6], v=[2.0], distance=[3.0])
    assert found(table, speed={"column": "v", "unit": "m/s"}, distance="") == {"speed": ("v", "m/s")}


def test_a_chosen_column_must_be_there():
    """A misspelt column names the nearest one."""
    with pytest.raises(ReadError, match="did you mean Yield\\?"):
        found(raw(Yield=[180.0]), **{"yield": {"column": "Yeild", "unit": "bu/ac"}})


def test_all_faults_come_together():
    """Two columns without a unit make one message of two lines."""
    with pytest.raises(ReadError) as refused:
        found(raw(speed=[4.6], distance=[3.0]))
    assert len(str(refused.value).splitlines()) == 2


def test_altitude_is_not_latitude():
    """Words that look alike are told apart."""
    assert found(raw(Altitude=[314.0], Latitude=[41.9], Longitude=[-93.6])).keys() == {"latitude", "longitude"}
