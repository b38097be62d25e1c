"""Places, intervals and the way between records."""

from __future__ import annotations

import numpy as np

from lossmap.read.taskdata import read_task_data


def test_a_pause_is_no_interval(made, task_folder):
    """Steps of 1 to 7 s are intervals, 40 s of turning are not, nor is a clock set back; the way is speed times interval."""
    seconds = [0, 1, 2, 9, 10, 50, 51, 30, 31]
    content = b"".join(made.record(second, {0: 1, 1: 2000}) for second in seconds)
    columns = read_task_data(task_folder(header=made.header(["0057", "018D"]), binary=content), "td").logs[0].columns
    expected = np.array([np.nan, 1, 1, 7, 1, np.nan, 1, np.nan, 1])
    np.testing.assert_array_equal(columns["interval_s"], expected)
    np.testing.assert_allclose(columns["distance_m"], 2 * expected)


def test_records_without_a_fix_keep_their_row(made, task_folder):
    """No fix, off the earth by sentinel, zero in both: no place, but a row; a bad status alone changes nothing."""
    places = [(0, 0, 0), (2**31 - 1, 2**31 - 1, 15), (419_000_000, -936_000_000, 15), (0, -936_000_000, 0)]
    content = b"".join(made.record(k, {0: 5_000_000}, place) for k, place in enumerate(places))
    (log,) = read_task_data(task_folder(binary=content), "td").logs
    assert np.isnan(log.latitude).tolist() == [True, True, False, False]
    assert log.columns["mass_flow_kg_s"].tolist() == [5.0] * 4
