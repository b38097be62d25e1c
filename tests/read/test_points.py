from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest

from lossmap.base.errors import ReadError, SettingsError
from lossmap.base.tables import POINTS
from lossmap.read import read_field, read_points


def test_units_become_si(field_folder):
    """lb/s, mph and % become kg/s, m/s and %, the header's width fills a missing one."""
    table = read_points(read_field(field_folder())).table
    assert table["mass_flow_kg_s"].tolist() == pytest.approx([30 * 0.45359237, 31 * 0.45359237, 32 * 0.45359237])
    assert table["speed_m_s"].tolist() == pytest.approx([5 * 0.44704] * 3)
    assert table["moisture_pct"].tolist() == [17.0] * 3
    assert table["width_m"].tolist() == pytest.approx([9.144] * 3)


def test_several_logs_follow_one_another(field_folder):
    """Two logs make one table that says which log and machine each record is of."""
    folder = field_folder(points_keys='machine = "red"')
    (folder / "second.csv").write_text((folder / "points.csv").read_text())
    file = folder / "field.toml"
    file.write_text(file.read_text() + '\n[[points]]\npath = "second.csv"\nmachine = "blue"\n')
    table = read_points(read_field(folder)).table
    assert table["log"].tolist() == [0, 0, 0, 1, 1, 1]
    assert table["machine"].tolist() == ["red"] * 3 + ["blue"] * 3


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            ("-93.60000,41.90002,31", "-93.60000,41.90002,n/a"),
            'row 3: Mass flow (lb/s) "n/a" is not a number; if it means "no value", set missing = ["n/a"]',
        ),
        (("41.90002", "999"), "row 3: latitude 999 is outside -90 to 90; correct it, or set crs where the places are not in degrees"),
        (("Mass flow (lb/s)", "thing"), "no column was understood as yield or mass flow"),
        (("longitude,latitude", "this one,that one"), "holds no position"),
    ],
)
def test_wrong_values_are_named_by_file_row_and_column(field_folder, conftest_points, change, message):
    """Text in a number, a latitude of 999, no yield and no position each say where and what to do."""
    folder = field_folder(points=conftest_points.replace(*change))
    with pytest.raises(ReadError) as refused:
        read_points(read_field(folder))
    assert message in str(refused.value)
    assert str(refused.value).startswith("creek/points.csv")


@pytest.fixture
def conftest_points(field_folder):
    """The text of the made points file."""
    return (field_folder() / "points.csv").read_text()


def test_a_missing_word_named_beside_path_is_a_gap(field_folder, conftest_points):
    """missing = ["n/a"] turns that word into a gap."""
    folder = field_folder(points=conftest_points.replace("41.90002,31", "41.90002,n/a"), points_keys='missing = ["n/a"]')
    table = read_points(read_field(folder)).table
    assert np.isnan(table["mass_flow_kg_s"].iloc[1])


def test_a_width_no_header_has_is_the_headers(field_folder):
    """A machine's mark in the width column is not believed, and that is said."""
    text = "lon,lat,yield (bu/ac),width (m)\n" + "".join(f"-93.6,{41.9 + row / 1e5},180,{9 if row else 655.35}\n" for row in range(5))
    read = read_points(read_field(field_folder(points=text)))
    assert read.table["width_m"].tolist() == pytest.approx([9.144, 9.0, 9.0, 9.0, 9.0])
    assert "creek/points.csv: the header's width is taken where the log's lies beyond 60 m (in 1 of 5 records)" in read.notes


def test_a_header_that_the_log_does_not_bear_out(field_folder):
    """30 ft written as 30 m is noted; a swath a tenth narrower than the header is not."""
    text = "lon,lat,yield (bu/ac),width (ft)\n" + "".join(f"-93.6,{41.9 + row / 1e5},180,27\n" for row in range(5))
    assert not any("header_width" in note for note in read_points(read_field(field_folder(points=text))).notes)
    wrong = field_folder(facts='name = "x"\ncrop = "corn"\nheader_width = "30 m"\n', points=text)
    assert (
        "creek/points.csv: was mostly logged 8.23 m wide, but header_width is 30.00 m in field.toml; one of them is wrong"
        in read_points(read_field(wrong)).notes
    )


def test_projected_places_need_their_system(field_folder):
    """Eastings without a coordinate system are asked for; with one they are kept as they are."""
    text = "easting,northing,yield (bu/ac),speed (mph)\n450000,4639000,180,4\n450000,4639002,181,4\n"
    with pytest.raises(ReadError, match="does not say its coordinate system"):
        read_points(read_field(field_folder(points=text)))
    table = read_points(read_field(field_folder(points=text, points_keys='crs = "EPSG:32615"'))).table
    assert table.crs.to_epsg() == 32615
    assert table["yield_kg_ha"].iloc[0] == pytest.approx(180 * 62.7677, rel=1e-5)


def test_what_a_log_lacks_is_said(field_folder):
    """No clock, no moisture and no flow are notes, not guesses."""
    notes = " ".join(read_points(read_field(field_folder(points="lon,lat,yield (bu/ac)\n-93.6,41.9,180\n"))).notes)
    for words in ("has no time", "has no moisture", "has neither speed, time nor interval", "has no mass flow"):
        assert words in notes


def test_a_sensor_that_says_nothing_but_0_is_not_logged(field_folder):
    """A dead moisture or speed sensor writes 0 all through: a note, and neither bone-dry grain nor a machine that stands."""
    dead = "lon,lat,seconds,mass flow (lb/s),moisture (%),speed (mph)\n" + "".join(
        f"-93.6,{41.9 + n / 5000:.5f},2,30,0,0\n" for n in range(9)
    )
    found = read_points(read_field(field_folder(points=dead)))
    assert not {"moisture_pct", "speed_m_s"} & set(found.table.columns)
    said = " ".join(found.notes)
    assert "moisture (%) reads 0 in every record: taken as not logged" in said
    assert "speed (mph) reads 0 in every record: taken as not logged" in said
    assert "has no moisture" in said
    alive = read_points(read_field(field_folder(points=dead.replace("30,0,0", "30,0,9", 1), name="alive")))
    assert "speed (mph)" not in " ".join(alive.notes)


def test_a_field_may_have_no_log(field_folder):
    """Counts alone make an empty table under the contract."""
    table = read_points(read_field(field_folder(points=None))).table
    assert len(POINTS.check(table)) == 0


def test_header_status_words(field_folder):
    """Work words are read, unknown ones refused."""
    text = "lon,lat,yield (bu/ac),work state\n-93.6,41.9,180,In\n-93.6,41.90002,180,Out\n"
    assert read_points(read_field(field_folder(points=text))).table["work"].tolist() == [1.0, 0.0]
    with pytest.raises(ReadError, match='row 3: work state "sideways" is neither working nor not'):
        read_points(read_field(field_folder(points=text.replace("Out", "sideways"))))


def test_an_unknown_role_is_refused(field_folder):
    """[points.columns] knows its roles."""
    with pytest.raises(SettingsError, match="yeild is no role"):
        read_field(field_folder(points_keys='[points.columns]\nyeild = "Yield"'))


def test_seconds_come_from_the_clock_where_no_column_says_them(field_folder):
    """Steps of 2 s are 2 s; the first record, a clock that stands and a pause of minutes are unknown."""
    clock = ("14:00:00", "14:00:02", "14:00:04", "14:00:04", "14:20:00")
    rows = "".join(f"-93.6,{41.9 + 0.00004 * number:.5f},30,17,5,2025-10-18T{time}Z\n" for number, time in enumerate(clock))
    text = "longitude,latitude,Mass flow (lb/s),Moisture (%),Speed (mph),time\n" + rows
    table = read_points(read_field(field_folder(points=text))).table
    assert table["interval_s"].tolist() == pytest.approx([np.nan, 2.0, 2.0, np.nan, np.nan], nan_ok=True)


def test_logs_in_two_systems_meet_in_one(field_folder):
    """A log in degrees and one in metres of a zone lie in one table, where they were."""
    folder = field_folder()
    metres = gpd.GeoSeries(gpd.points_from_xy([-93.6], [41.90006]), crs="EPSG:4326").to_crs("EPSG:32615").iloc[0]
    (folder / "more.csv").write_text(
        "easting (m),northing (m),Mass flow (lb/s),Moisture (%),Speed (mph),interval (s)\n" + f"{metres.x},{metres.y},33,17,5,1\n" * 2
    )
    with (folder / "field.toml").open("a") as facts:
        facts.write('\n[[points]]\npath = "more.csv"\ncrs = "EPSG:32615"\n')
    table = read_points(read_field(folder)).table
    assert table.crs.to_epsg() == 4326
    assert table.geometry.y.tolist() == pytest.approx([41.9, 41.90002, 41.90004, 41.90006, 41.90006], abs=1e-7)
