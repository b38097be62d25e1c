"""The log is late, smeared and spoilt as planned, and nothing else."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from synthetic.plans import QUIET, SMALL

from lossmap.base.reference import crop
from lossmap.synthetic import MadeField, make


def _flow_at_cut(made: MadeField) -> np.ndarray:
    """Wet grain each record cut, by the truth [kg/s]."""
    records, points = made.truth.records, made.points
    market = crop(made.plan.crop).market_moisture_pct
    dry = records["yield_kg_ha"] / 10_000 * records["fresh_width_m"] * points["speed_m_s"]
    return (dry * (100 - market) / (100 - records["moisture_pct"])).to_numpy()


@pytest.mark.parametrize(("delay_s", "ramp_s", "interval_s"), [(0, 0, 1), (12, 2, 1), (12, 4, 3), (7.5, 2, 2)])
def test_mass_is_kept(delay_s: float, ramp_s: float, interval_s: float) -> None:
    """What was cut arrives at the sensor in the end, however late and smeared."""
    made = make(dataclasses.replace(QUIET, flow_delay_s=delay_s, ramp_s=ramp_s, log_interval_s=interval_s), 5)
    arrived = (made.points["mass_flow_kg_s"] * made.points["interval_s"]).sum()
    cut = (_flow_at_cut(made) * made.points["interval_s"]).sum()
    assert arrived == pytest.approx(cut, rel=0.005)


@pytest.mark.parametrize("delay_s", [0, 6, 12, 18])
def test_flow_is_late_by_the_planted_delay(delay_s: float) -> None:
    """Flow follows what was cut best when shifted by the delay; the ramp adds no lateness of its own."""
    made = make(dataclasses.replace(QUIET, flow_delay_s=delay_s), 5)
    cut, seen = _flow_at_cut(made), made.points["mass_flow_kg_s"].to_numpy()
    centre = [float(np.average(np.arange(len(flow)), weights=flow)) for flow in (cut, seen)]
    assert centre[1] - centre[0] == pytest.approx(delay_s, abs=0.1)


def test_moisture_is_late_by_its_own_delay() -> None:
    """Inside passes the sensor shows the moisture of the record cut that many seconds before."""
    made = make(dataclasses.replace(QUIET, moisture_delay_s=10), 5)
    passes, true = made.truth.records["pass_id"].to_numpy(), made.truth.records["moisture_pct"].to_numpy()
    same_pass = (passes[10:] == passes[:-10]) & (passes[10:] >= 0)
    seen = made.points["moisture_pct"].to_numpy()[10:]
    np.testing.assert_allclose(seen[same_pass], true[:-10][same_pass], atol=1e-9)


def test_flow_fills_and_empties_at_pass_ends(quiet: MadeField) -> None:
    """The ramp holds the first record of a pass well below its median."""
    records, flow = quiet.truth.records, quiet.points["mass_flow_kg_s"]
    starts = records["working"] & ~records["working"].shift(fill_value=False)
    first = flow[starts].median() / flow[records["working"]].median()
    assert 0.05 < first < 0.7


def test_records_are_in_step(quiet: MadeField) -> None:
    """Speed, distance, interval and the way from place to place agree, and time runs on evenly."""
    points = quiet.points
    np.testing.assert_allclose(points["distance_m"], points["speed_m_s"] * points["interval_s"])
    assert set(points["time"].diff().dropna()) == {pd.Timedelta(seconds=1)}
    step = np.hypot(points.geometry.x.diff(), points.geometry.y.diff())
    straight = quiet.truth.records["working"] & quiet.truth.records["working"].shift(fill_value=False)
    assert (step / points["distance_m"])[straight].median() == pytest.approx(1, abs=0.01)


def test_header_up_rows() -> None:
    """Turns are in the log with work 0 only where the plan asks for them."""
    with_turns, without = make(QUIET, 5), make(dataclasses.replace(QUIET, header_up_rows=False), 5)
    assert set(with_turns.points["work"]) == {0.0, 1.0}
    assert "work" not in without.points
    assert len(without.points) == int(with_turns.points["work"].sum())


def test_flaws_are_where_the_truth_says() -> None:
    """Each flaw stands in as many records as planned, and only those differ from the unspoilt field."""
    clean = make(SMALL, 4)
    spoilt = make(dataclasses.replace(SMALL, duplicates=9, jumps=7, spikes=5, stuck_moisture=80), 4)
    flaws = spoilt.truth.records["flaw"]
    assert flaws.value_counts()[["duplicate", "jump", "spike"]].tolist() == [9, 7, 5]
    once = spoilt.points[flaws != "duplicate"].reset_index(drop=True)
    named = flaws[flaws != "duplicate"].reset_index(drop=True)
    moved = once.geometry.distance(clean.points.geometry) > 1
    assert moved.sum() == 7
    assert (named[moved] == "jump").all()
    tripled = ~np.isclose(once["mass_flow_kg_s"], clean.points["mass_flow_kg_s"])
    assert (named[tripled] == "spike").all()
    assert tripled.sum() == 5
    assert once.loc[once["moisture_pct"] != clean.points["moisture_pct"]].shape[0] == 79
