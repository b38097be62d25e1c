from __future__ import annotations

import numpy as np
import pytest

from lossmap.read.taskdata.header import header_of
from lossmap.read.taskdata.readings import Readings
from lossmap.read.taskdata.records import records_of
from lossmap.read.taskdata.roles import LOSS_SIGNAL, WET_YIELD, roles_of, timing_of

nan = np.nan


def readings(made, logged, *rows):
    """Readings of a made log whose records hold `rows` (index to raw value)."""
    header = header_of(made.header(logged).encode(), "x")
    content = b"".join(made.record(k, row) for k, row in enumerate(rows))
    places = {index: index for index in range(len(header.logged))}
    return Readings(header, records_of(content, header, list(places)), places, {}, None)


@pytest.mark.parametrize(
    ("ddi", "column", "raw", "value"),
    [
        ("0057", "mass_flow_kg_s", 12_500_000, 12.5),
        ("0054", WET_YIELD, 900_000, 9_000.0),
        ("0063", "moisture_pct", 175_000, 17.5),
        ("018D", "speed_m_s", 1_500, 1.5),
        ("005C", "loss_sensor_l_ha", 3, 30.0),
        ("005D", "loss_sensor_kg_ha", 6_200, 62.0),
        ("005E", "loss_sensor_count_m2", 22_500, 22.5),
        ("005F", "loss_sensor_l_s", 250, 0.25),
        ("0060", "loss_sensor_kg_s", 80_000, 0.08),
        ("0061", "loss_sensor_count_s", 300_500, 300.5),
        ("0062", "loss_sensor_pct", 12_000, 1.2),
    ],
)
def test_measures_become_si_and_are_never_carried(made, ddi, column, raw, value):
    """Each entry in the dictionary's unit and resolution; a record without it has none; below zero is none."""
    columns = roles_of(readings(made, [ddi], {}, {0: raw}, {}, {0: -1})).columns
    np.testing.assert_allclose(columns[column], [nan, value, nan, nan], rtol=1e-12)


def test_states_hold_until_they_are_written_anew(made):
    """Width and work go on through records without them; error and not installed are unknown."""
    found = readings(made, ["0043", "008D"], {}, {0: 9000, 1: 1}, {}, {0: 4500}, {1: 0}, {1: 2}, {1: 3})
    columns = roles_of(found).columns
    np.testing.assert_array_equal(columns["width_m"], [nan, 9, 9, 4.5, 4.5, 4.5, 4.5])
    np.testing.assert_array_equal(columns["work"], [nan, 1, 1, 1, 0, nan, nan])


def test_moisture_zero_is_no_reading(made):
    """0 ppm is a sensor that reads nothing."""
    np.testing.assert_allclose(roles_of(readings(made, ["0063"], {0: 0}, {0: 150_000})).columns["moisture_pct"], [nan, 15])


def test_volume_needs_a_density(made):
    """0.72 kg/L turns 10 L/s into 7.2 kg/s and 12,000 L/ha into 8,640 kg/ha; the density holds until it is written anew."""
    columns = roles_of(
        readings(made, ["0056", "0053", "0079"], {0: 10_000, 1: 1_200}, {0: 10_000, 2: 720_000}, {0: 10_000, 1: 1_200})
    ).columns
    np.testing.assert_allclose(columns["mass_flow_kg_s"], [nan, 7.2, 7.2])
    np.testing.assert_allclose(columns[WET_YIELD], [nan, nan, 8_640])


@pytest.mark.parametrize(("density", "odd"), [(None, ""), (509, " that a crop can have (found 0.000509 kg/L)")])
def test_volume_without_one_is_not_used_and_said(made, density, odd):
    """Without a density, or with one that is another thing (one open log keeps a calibration factor there)."""
    found = roles_of(readings(made, ["0056", "0079"], {0: 10_000} if density is None else {0: 10_000, 1: density}))
    assert "mass_flow_kg_s" not in found.columns
    assert found.notes == (f"mass flow is logged as volume (DDI 0056) without a bulk density (DDI 0079){odd}, so it is not used",)


def test_mass_is_taken_before_volume(made):
    """Where both are logged no density is needed."""
    found = roles_of(readings(made, ["0056", "0057"], {0: 10_000, 1: 5_000_000}))
    assert found.columns["mass_flow_kg_s"].tolist() == [5.0]
    assert found.notes == ()


def test_condensed_sections_give_work_and_part_of_the_width(made):
    """Two of four sections on: at work, on half of the greatest width; all off: not at work; not installed: unknown."""
    on_off = 0b01_01_00_00 | 0xFFFFFF00
    off, none = 0xFFFFFF00, 0xFFFFFFFF
    rows = [{0: on_off - 2**32, 1: 8000}, {}, {0: off - 2**32}, {0: none - 2**32}]
    columns = roles_of(readings(made, ["00A1", "0046"], *rows)).columns
    np.testing.assert_array_equal(columns["work"], [1, 1, 0, nan])
    assert columns["width_m"].tolist() == [4, 4, 8, 8]


def test_sections_of_both_entries_count(made):
    """Sections 17 to 32 stand in the next entry: 16 on of 32 is half."""
    columns = roles_of(readings(made, ["00A1", "00A2", ("0046", "12000", "DET-1")], {0: 0x55555555, 1: 0})).columns
    assert columns["width_m"].tolist() == [6.0]


def test_the_actual_width_is_taken_as_it_is(made):
    """With an actual width sections do not narrow it again; the plain work state goes before the condensed one."""
    columns = roles_of(readings(made, ["0043", "0046", "00A1", "008D"], {0: 4500, 1: 9000, 2: 0b01_00_00_00, 3: 0})).columns
    assert columns["width_m"].tolist() == [4.5]
    assert columns["work"].tolist() == [0.0]


def test_sections_with_their_own_work_state(made):
    """Of parts alike, one at work is enough."""
    logged = [("008D", "", "DET-5"), ("008D", "", "DET-6")]
    columns = roles_of(readings(made, logged, {0: 0, 1: 1}, {1: 0}, {0: 3, 1: 3})).columns
    np.testing.assert_array_equal(columns["work"], [1, 0, nan])


def test_a_second_source_is_said(made):
    """Two parts with one quantity: the first is used and named."""
    found = roles_of(readings(made, [("0057", "", "DET-1"), ("0057", "", "DET-2")], {0: 1_000_000, 1: 2_000_000}))
    assert found.columns["mass_flow_kg_s"].tolist() == [1.0]
    assert found.notes == ("DDI 0057 is logged by 2 parts of the machine: that of DET-1 is used",)


def test_a_loss_signal_is_kept_aside_and_said(made):
    """It stands beside the records under names of its own, is no role, and the note says what it is not."""
    found = roles_of(readings(made, ["0057", "005E", "0062"], {0: 1, 1: 1, 2: 1}))
    assert [one.role for one in found.detected] == ["mass_flow"]
    assert set(found.columns) == {"mass_flow_kg_s", "loss_sensor_count_m2", "loss_sensor_pct"}
    assert found.notes == (
        "the machine's own loss signal is kept in points.parquet (loss_sensor_count_m2, loss_sensor_pct): "
        "it tells more from less, it is no measured loss",
    )
    assert all(name.startswith("loss_sensor_") for name in LOSS_SIGNAL.values())


def test_what_was_taken_for_what_is_told(made):
    """Role, entry and part, unit and factor, for the list of what was understood."""
    found = roles_of(readings(made, ["0057", ("0043", "9000", "DET-2")], {0: 1})).detected
    assert [(one.role, one.column, one.unit, one.how, one.factor) for one in found] == [
        ("mass_flow", "DDI 0057 of DET-1", "mg/s", "ISO 11783-11, logged", pytest.approx(1e-6)),
        ("width", "DDI 0043 of DET-2", "mm", "ISO 11783-11, fixed for the log", pytest.approx(1e-3)),
    ]


def test_stated_timing(made):
    """Latencies and ignore times in seconds, carried forward, the usual one where they change; NaN where not logged."""
    found = timing_of(readings(made, ["008F", "0103", "0104"], {0: 4000, 1: 3000}, {0: 9000}, {}, {2: 2000}), 3)
    assert (found.log, found.latency_s, found.lag_ignore_s, found.lead_ignore_s) == (3, 9.0, 3.0, 2.0)
    assert np.isnan(found.setpoint_latency_s)
    assert found
    assert not timing_of(readings(made, ["0057"], {0: 1}), 0)
