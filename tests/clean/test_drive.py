"""Passes and delays together: a late flow is moved before it says when the machine worked."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from lossmap.clean.drive import driven
from lossmap.clean.log import Log
from lossmap.clean.track import track_of
from lossmap.synthetic import FieldPlan, make


def drive_of(table, field, settings):
    """The drive of a log whose every place is known."""
    every = np.ones(len(table), dtype=bool)
    return driven(Log(table, track_of(table, every), every), field, settings, every)


def test_a_late_flow_moves_the_passes_with_it(field, settings):
    """Flow planted 12 s late is found and moved: the machine works where the one whose flow was never late does, but for a few seconds."""
    plan = FieldPlan(crop="corn", length_m=600, breadth_m=300, yield_kg_ha=9000.0, header_up_rows=True)
    named = dataclasses.replace(field, facts=field.facts.model_copy(update={"header_width": plan.header_width_m}))
    late, prompt = (drive_of(make(dataclasses.replace(plan, flow_delay_s=delay), 4).points, named, settings) for delay in (12.0, 0.0))
    assert late.flow_delay.applied
    assert late.flow_delay.seconds == pytest.approx(12.0, abs=1.0)
    assert not prompt.flow_delay.applied
    unmoved = drive_of(make(dataclasses.replace(plan, flow_delay_s=12.0), 4).points, named, settings.model_copy(update={"flow_delay": 0.0}))
    wrong, uncorrected = ((one.working != prompt.working).mean() for one in (late, unmoved))
    assert wrong < 0.02
    assert uncorrected > 2 * wrong


def test_what_stands_still_is_not_believed(straight_log, field, settings):
    """A moisture that sticks is missing there and counted; the flow beside it stays."""
    log = straight_log()
    log["moisture_pct"] = 16 + np.random.default_rng(1).normal(0, 0.4, len(log)).round(2)
    log.loc[300:449, "moisture_pct"] = 15.0
    found = drive_of(log, field, settings.model_copy(update={"moisture_delay": 0.0}))
    assert 150 <= found.stuck <= 152
    assert np.isnan(found.moisture[300:450]).all()
    assert (found.flow == 10.0).all()


def test_a_log_without_order_has_no_pass(straight_log, field, settings):
    """Shuffled rows without a clock: the machine worked, nobody knows in which pass, and no delay is found."""
    shuffled = straight_log(clock=False).sample(frac=1.0, random_state=1).reset_index(drop=True)
    found = drive_of(shuffled, field, settings)
    assert found.working.all()
    assert (found.pass_id == -1).all()
    assert not (found.flow_delay.applied or found.moisture_delay.applied)
