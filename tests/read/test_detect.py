from __future__ import annotations

import numpy as np
import pandas as pd
import pyproj
import pytest

from lossmap.base.errors import ReadError
from lossmap.base.field import ColumnChoice
from lossmap.read.detect import columns_of, understood
from lossmap.read.formats import read_raw
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


def placed(crs):
    """The same log with its places in a projected system."""
    table = log(**{"distance (m)": 2.0, "speed (m/s)": 2.0})
    lon, lat = table.columns["lon"], table.columns["lat"]
    x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(lon.to_numpy() + 14.5, lat.to_numpy() - 6)
    return Raw("log.csv", table.columns.drop(columns=["lon", "lat"]).assign(easting=x, northing=y), 2)


@pytest.mark.parametrize(("crs", "unit"), [("EPSG:2264", "ft"), ("EPSG:3857", "m"), ("EPSG:32617", "m")])
def test_units_are_checked_on_the_ground_not_on_the_map(crs, unit):
    """Feet of a state's system and Web Mercator's stretched metres do not speak against right units."""
    detected = columns_of(placed(crs), {"time": ColumnChoice(column="clock time")}, 56.0, 9.0, crs)
    by_role = {one.role: one for one in detected}
    assert by_role["easting"].unit == unit
    for role in ("distance", "speed"):
        assert by_role[role].ratio == pytest.approx(1.0, abs=0.01)


def refusal(table, crs=None, **chosen):
    """The refusal of a table, whole."""
    choices = {role: ColumnChoice(**choice) if isinstance(choice, dict) else ColumnChoice(column=choice) for role, choice in chosen.items()}
    with pytest.raises(ReadError) as refused:
        columns_of(table, choices, 56.0, 9.0, crs)
    return str(refused.value)


def test_a_wrong_system_is_named_instead_of_the_units_it_spoils():
    """Feet called degrees, and no system at all, are said of the places, not of distance and speed."""
    table = placed("EPSG:2264")
    assert "is outside -180 to 180 (200 such rows); correct it" in refusal(table, "EPSG:4326")
    assert refusal(table) == 'log.csv: does not say its coordinate system; set crs = "EPSG:..." beside path in field.toml'
    far = Raw("log.csv", pd.DataFrame({"easting": [1e11] * 3, "northing": [1e11] * 3}), 2)
    assert refusal(far, "EPSG:32615") == (
        "log.csv: crs EPSG:32615 does not reach its places (first 1e+11, 1e+11); set the right crs beside path in field.toml"
    )


@pytest.mark.parametrize(
    ("columns", "chosen", "message"),
    [
        (
            {"Longitude": [np.nan] * 3},
            {},
            "log.csv: longitude: column Longitude is empty; name another under [points.columns], or export it again",
        ),
        (
            {"Longitude": ["nan", " NaN", None]},
            {},
            "log.csv: longitude: column Longitude is empty; name another under [points.columns], or export it again",
        ),
        (
            {"Longitude": ["abc"] * 3},
            {},
            'log.csv: longitude: column Longitude holds text ("abc"), not numbers; name another under [points.columns]',
        ),
        (
            {"Place": ["abc"] * 3},
            {"longitude": "Place"},
            'log.csv: longitude: column Place holds text ("abc"), not numbers; name another under [points.columns]',
        ),
        (
            {"Longitude": [-93.6] * 3},
            {"work": "Longitude"},
            "log.csv: longitude: column Longitude is given to work; give one of the two another column under [points.columns]",
        ),
        (
            {"Longitude": [-93.6] * 3},
            {"work": "Longitude", "longitude": "Longitude"},
            "log.csv: [points.columns] gives column Longitude to work and longitude; a column plays one role",
        ),
        (
            {"Longitude": [41.9] * 3, "Latitude": [-93.6] * 3},
            {},
            "log.csv, row 2: longitude and latitude look swapped (latitude is -93.6); exchange the two",
        ),
    ],
    ids=["empty", "nan", "text", "chosen text", "taken", "twice", "swapped"],
)
def test_places_that_cannot_be_used_say_why(columns, chosen, message):
    """An empty, a worded, a taken and a swapped column each get the reason; nothing else is asked for beside it."""
    assert refusal(raw(**{"Latitude": [41.9] * 3, "speed": [4.6] * 3} | columns), **chosen) == message


def test_a_flow_of_words_says_why():
    """The one column that could be the flow is named with what is wrong with it."""
    table = raw(Longitude=[-93.6] * 3, Latitude=[41.9] * 3, **{"Mass flow": ["abc"] * 3})
    assert refusal(table) == 'log.csv: mass_flow: column Mass flow holds text ("abc"), not numbers; name another under [points.columns]'


def test_the_only_flow_is_not_offered_to_be_left_out():
    """A map needs a yield or a flow; beside another it may go."""
    alone = refusal(raw(flow=[30.0]))
    assert alone == (
        "log.csv: mass_flow: column flow could be in lb/s or kg/s or t/h; under [points.columns] in field.toml write "
        'mass_flow = { column = "flow", unit = "lb/s" } with the right unit'
    )
    assert 'mass_flow = "" to leave it out' in refusal(raw(flow=[30.0], **{"yield": [5000.0]}))


def test_a_value_beyond_all_machines_is_named_not_measured():
    """A sentinel in a measured column is refused at its row, before it spoils a check."""
    table = log(**{"speed (m/s)": 1e308})
    assert refusal(table, time="clock time") == (
        "log.csv, row 2: speed (m/s) 1e308 is no number a machine writes (200 such rows); "
        'if it means "no value", set missing = ["1e308"] beside path in field.toml'
    )


def test_a_distance_beyond_all_sense_is_no_unit_fault():
    """A thousand million kilometres a record is refused with what it would be, not with a ratio of nothing."""
    assert "the middle value of distance (m) would be 1e+12 m if it is in m, which cannot be" in refusal(
        log(**{"distance (m)": 1e12}), time="clock time"
    )


def bare(x, y):
    """A log whose places stand in columns called x and y."""
    return raw(**{"X": x, "Y": y, "yield (bu/ac)": [180.0] * len(x)})


def test_bare_x_and_y_are_degrees_or_metres_by_their_values():
    """On a field-sized patch -93.6 and 41.9 are degrees, 450,000 and 4,639,000 metres of a system."""
    degrees = found(bare([-93.6, -93.6, -93.601], [41.9, 41.9001, 41.901]))
    assert (degrees["longitude"], degrees["latitude"]) == (("X", "deg"), ("Y", "deg"))
    table = bare([450_000.0, 450_001.0], [4_639_000.0, 4_639_002.0])
    choices = {"speed": ColumnChoice(column="")}
    metres = {one.role: one.column for one in columns_of(table, choices, 56.0, 9.0, "EPSG:32615")}
    assert (metres["easting"], metres["northing"]) == ("X", "Y")


@pytest.mark.parametrize(("x", "y"), [([-40.0, 0.0, 55.0], [-100.0, 20.0, 120.0]), ([0.0, 300.0, 900.0], [0.0, 200.0, 400.0])])
def test_metres_from_a_point_of_the_fields_own_are_asked_for(x, y):
    """X and Y from the middle or a corner of the field are no degrees, though they may look like some: said, not mapped to Africa."""
    with pytest.raises(
        ReadError, match=r"columns X and Y are metres from a point of their own \(\d+ m across\), and no map can place them"
    ):
        found(bare(x, y))


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
    seen = understood(table, {role: ColumnChoice(column=column) for role, column in chosen.items()}, bushel, width)
    settled = {one.role: (one.column, one.unit) for one in seen.detected}
    assert {role: settled.get(role) for role in roles} == roles
    assert sorted(fault.split(": ")[1] for fault in seen.faults) == asked
    ratios = [one.ratio for one in seen.detected if one.role in ("distance", "speed", "width", "interval") and np.isfinite(one.ratio)]
    assert all(abs(ratio - 1) < 0.03 for ratio in ratios)
