from __future__ import annotations

import numpy as np
import pyproj
import pytest

from lossmap.read.taskdata import read_task_data
from lossmap.read.taskdata.header import header_of
from lossmap.read.taskdata.readings import Readings
from lossmap.read.taskdata.records import records_of
from lossmap.read.taskdata.totals import growth, steps_m, unlike_totals
from outside import agrees


def readings(made, logged, *rows):
    """Readings of a made log whose records hold `rows` (index to raw value)."""
    header = header_of(made.header(logged).encode(), "x")
    content = b"".join(made.record(k, row) for k, row in enumerate(rows))
    places = {index: index for index in range(len(header.logged))}
    return Readings(header, records_of(content, header, list(places)), places, {}, None)


def test_ways_are_those_of_the_ellipsoid():
    """Against the exact geodesic, north, east, south and near the pole: within 1e-5."""
    rng = np.random.default_rng(5)
    geod = pyproj.Geod(ellps="WGS84")
    for latitude in (-54.6, 0.1, 41.9, 68.0):
        lat = latitude + np.cumsum(rng.normal(0, 1e-5, 200))
        lon = -93.6 + np.cumsum(rng.normal(0, 1e-5, 200))
        expected = geod.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
        np.testing.assert_allclose(steps_m(lon, lat)[1:], expected, rtol=1e-5)
    assert np.isnan(steps_m(lon, lat)[0])


def test_totals_run_on_or_start_anew(made):
    """What the log before had counted is no growth of this one, and a counter set back adds what it counts after."""
    assert growth(readings(made, ["005A"], {0: 30_300}, {}, {0: 40_000}, {0: 45_900}), 0x5A, {}) == 15_600
    assert growth(readings(made, ["005A"], {0: 100}, {0: 150}, {0: 0}, {0: 30}), 0x5A, {}) == 80


def test_totals_of_the_task_serve_logs_without_their_own(made):
    """A task's total counts where the log holds none."""
    found = readings(made, ["0057"], {0: 1})
    assert growth(found, 0x5A, {0x5A: 12.0}) == 12
    assert np.isnan(growth(found, 0x5A, {}))


def test_more_than_a_tenth_is_said(made):
    """Mass, area and way each against its total: 9 % apart is silent, 11 % is said with both figures."""
    rows = [{0: 0, 1: 0, 2: 0}] + [{}] * 9 + [{0: 109, 1: 1_000, 2: 100_000}]
    found = readings(made, ["005A", "0074", "0075"], *rows)
    one = np.ones(11)
    columns = {"mass_flow_kg_s": 10 * one, "interval_s": np.append(np.nan, one[1:]), "work": one, "width_m": 9.0 * one}
    step = np.append(np.nan, 10 * one[1:])
    assert unlike_totals(columns, step, found, {}) == []
    assert unlike_totals({**columns, "mass_flow_kg_s": 12.2 * one, "width_m": 7.5 * one}, 1.2 * step, found, {}) == [
        "mass flow adds up to 122 kg, the machine's own total grew by 109 kg",
        "way in work adds up to 120 m, the machine's own total grew by 100 m",
    ]


def test_without_sums_or_totals_nothing_is_said(made):
    """No flow, no work state, or a total that stood still."""
    assert unlike_totals({}, np.full(2, np.nan), readings(made, ["005A"], {0: 0}, {0: 500}), {}) == []
    one = np.ones(2)
    assert unlike_totals({"mass_flow_kg_s": one, "interval_s": one}, one, readings(made, ["005A"], {0: 7}, {0: 7}), {}) == []


@pytest.mark.parametrize(
    ("log", "flow_kg", "total_kg", "area_m2", "total_m2"),
    [
        ("TLG00001", 259_948, 259_605, 48_399, 48_300),
        ("TLG00006", 10_130, 10_177, 2_188, 2_000),
        ("TLG00020", 64_236, 64_396, 15_181, 15_600),
    ],
)
def test_open_logs_against_the_machines_own_totals(open_data, log, flow_kg, total_kg, area_m2, total_m2):
    """Three real logs: flow times interval within 0.5 % of the machine's mass, width times way in work within 10 % of its area."""
    folder = open_data("task-data-forage/field-work")
    found = read_task_data(folder, "td", log)
    (one,) = found.logs
    columns = one.columns
    flow = float(np.nansum(columns["mass_flow_kg_s"] * columns["interval_s"]))
    step = steps_m(one.longitude, one.latitude)
    area = float(np.nansum((columns["width_m"] * step)[columns["work"] == 1]))
    assert flow == pytest.approx(flow_kg, abs=1)
    assert area == pytest.approx(area_m2, abs=1)
    assert flow == pytest.approx(total_kg, rel=0.005)
    assert area == pytest.approx(total_m2, rel=0.1)
    header = header_of((folder / f"{log}.xml").read_bytes(), log)
    index = {entry.ddi: index for index, entry in enumerate(header.logged)}
    records = records_of((folder / f"{log}.bin").read_bytes(), header, [index[0x5A], index[0x74]])
    places = {index[0x5A]: 0, index[0x74]: 1}
    raw = Readings(header, records, places, {}, None)
    assert growth(raw, 0x5A, {}) == pytest.approx(total_kg, abs=25)
    assert growth(raw, 0x74, {}) == total_m2
    assert not any("adds up" in note for note in found.notes)


def test_an_open_log_with_its_steps_cut_at_two_seconds(open_data):
    """The figure published with the set, 250,476 kg, is the same sum with every step cut at 2 s and the first taken as 1 s."""
    (one,) = read_task_data(open_data("task-data-forage/field-work"), "td", "TLG00001").logs
    steps = np.minimum(one.columns["interval_s"].fillna(1.0), 2.0)
    total = float((one.columns["mass_flow_kg_s"] * steps).sum())
    agrees("mass of the open forage log, steps cut at 2 s [kg]", "figure published with the data", total, 250_476, 1)
