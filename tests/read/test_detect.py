from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from lossmap.base.errors import ReadError
from lossmap.base.field import ColumnChoice
from lossmap.read.detect import columns_of, understood
from lossmap.read.points import read_raw
from lossmap.read.raw import Raw


def raw(**columns):
    """A file of records with these columns."""
    return Raw("log.csv", pd.DataFrame(columns), 2)


def log(**columns):
    """A log of 200 records north at 2 m/s and 1 Hz, 10 kg/s on nine metres, with more columns."""
    north = np.arange(200) * 2.0
    places = {"lon": np.full(200, -93.6), "lat": 41.9 + north / 111_195, "clock time": np.arange(200.0)}
    return raw(**places, **{name: np.full(200, value) for name, value in columns.items()})


def found(table, width=9.0, **chosen):
    """role -> (column, unit) as detected for corn."""
    choices = {role: ColumnChoice(**choice) if isinstance(choice, dict) else ColumnChoice(column=choice) for role, choice in chosen.items()}
    return {one.role: (one.column, one.unit) for one in columns_of(table, choices, 56.0, width)}


CLOCK = {"time": {"column": "clock time"}}


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


@pytest.mark.parametrize(
    ("column", "value", "unit"),
    [
        ("distance", 2 / 0.3048, "ft"),
        ("distance", 2.0, "m"),
        ("distance", 2 / 0.0254, "in"),
        ("speed", 2 / 0.44704, "mph"),
        ("speed", 7.2, "km/h"),
        ("speed", 2.0, "m/s"),
    ],
)
def test_a_unit_nobody_wrote_is_found_on_the_ground(column, value, unit):
    """Two metres a second decide between ft, m and in, and between mph, km/h and m/s."""
    assert found(log(**{column: value}), **CLOCK)[column] == (column, unit)


@pytest.mark.parametrize(("width", "unit"), [(9 / 0.3048, "ft"), (9.0, "m"), (9 / 0.0254, "in")])
def test_a_width_is_checked_against_the_header(width, unit):
    """The header's width in field.toml decides the unit of the logged one."""
    assert found(log(width=width))["width"] == ("width", unit)


def test_flow_and_yield_settle_one_another():
    """22.05 and 88.5 are lb/s and bu/ac: no other pair of units fits width and speed."""
    table = log(flow=10 / 0.45359237, **{"yield": 10 / 18 * 10_000 / 62.7677})
    settled = found(table, **CLOCK)
    assert (settled["mass_flow"], settled["yield"]) == (("flow", "lb/s"), ("yield", "bu/ac"))


def test_a_unit_that_could_be_several_is_asked_for():
    """A speed of 4.6 without places may be anything: not guessed, and the line to write is shown."""
    with pytest.raises(ReadError) as refused:
        found(raw(speed=[4.6]))
    assert str(refused.value) == (
        "log.csv: speed: column speed could be in mph or km/h or m/s or kn; under [points.columns] in field.toml write "
        'speed = { column = "speed", unit = "mph" } with the right unit, or speed = "" to leave it out'
    )


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("distance (m)", 6.56, 'positions and clock say 1/3.28 of what distance (m) says in m; unit = "ft" would fit'),
        ("speed (m/s)", 4.474, 'positions and clock say 1/2.24 of what speed (m/s) says in m/s; unit = "mph" would fit'),
        ("yield (kg/ha)", 12_000.0, "positions and clock say 1/2.16 of what yield (kg/ha) says in kg/ha; give the right unit or column"),
    ],
)
def test_a_unit_the_ground_speaks_against_is_refused(name, value, message):
    """A stated unit more than a tenth off is refused with the one that would fit."""
    with pytest.raises(ReadError) as refused:
        found(log(**{name: value, "mass flow (kg/s)": 10.0}), **CLOCK)
    assert message in str(refused.value)


def test_an_impossible_unit_is_refused_with_the_value_it_makes():
    """46 m/s is no combine: the middle value is shown."""
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


def test_altitude_is_not_latitude_and_a_crop_code_no_flow():
    """Words that look alike are told apart."""
    assert found(raw(Altitude=[314.0], Latitude=[41.9], Longitude=[-93.6], crop=[11.0])).keys() == {"latitude", "longitude"}


# what each open log's columns are, as its publisher describes them
OPEN = {
    "montana-grain/FarmerI_YE_YLD_2016_henrys.zip": (
        {},
        60.0,
        10.668,
        {
            "mass_flow": ("flw_lbs", "lb/s"),
            "moisture": ("moistur", "percent"),
            "distance": ("dist_in", "in"),
            "width": ("swth_w_", "in"),
            "heading": ("hdng_dg", "deg"),
        },
        ["yield"],
    ),
    "montana-grain/FarmerI_YL18_YLD_2018_henrys.zip": (
        {"record": "gid"},
        60.0,
        11.887,
        {
            "mass_flow": ("crp_flw_m", "lb/s"),
            "yield": ("yld_vl_d", "bu/ac"),
            "moisture": ("mostr__", "percent"),
            "speed": ("spd_mp_", "mph"),
            "distance": ("dstnc_f", "ft"),
            "interval": ("durtn_s", "s"),
            "width": ("swth_w_", "ft"),
            "heading": ("trck_d_", "deg"),
            "work": ("wrk_stt", ""),
        },
        [],
    ),
    "montana-grain/FarmerC_yld_millview_2017.parquet": (
        {},
        32.0,
        7.3152,
        {
            "time": ("IsoTime", ""),
            "moisture": ("Moisture", "percent"),
            "distance": ("DISTANCE", "ft"),
            "width": ("SWATHWIDTH", "ft"),
            "heading": ("Heading", "deg"),
        },
        ["yield"],
    ),
    "gartner-corn/gartner.corn.txt": (
        {},
        56.0,
        9.144,
        {
            "longitude": ("long", "deg"),
            "latitude": ("lat", "deg"),
            "moisture": ("moist", "percent"),
            "distance": ("dist", "in"),
            "interval": ("seconds", "s"),
        },
        ["mass_flow"],
    ),
}


@pytest.mark.parametrize("name", OPEN)
def test_open_logs_are_understood_without_a_word(open_data, name):
    """Every role of the open logs is found with its right unit or asked for by name; none is wrong."""
    chosen, bushel, width, roles, asked = OPEN[name]
    table = read_raw(open_data(name), "log", None)
    detected, faults = understood(table, {role: ColumnChoice(column=column) for role, column in chosen.items()}, bushel, width)
    settled = {one.role: (one.column, one.unit) for one in detected}
    assert {role: settled.get(role) for role in roles} == roles
    assert sorted(fault.split(": ")[1] for fault in faults) == asked
    ratios = [one.ratio for one in detected if one.role in ("distance", "speed", "width", "interval") and np.isfinite(one.ratio)]
    assert all(abs(ratio - 1) < 0.03 for ratio in ratios)
