"""Verdicts: what may be said, and how many stops it would take."""

import math
from dataclasses import replace
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.estimates import MODERATE, NOTHING, STEPS, Estimate, SlopeEvidence
from lossmap.base.settings import ZoneSettings
from lossmap.zones.response import FOUND, driver, found_sd

MANY = SlopeEvidence(
    name="speed",
    slope=Estimate(0.8, 0.4, 1.2),
    sd=0.24,
    chance=0.999,
    prior_sd=1.2,
    expected_sd=0.2,
    reference=2.0,
    stops=60,
    share_kg_ha=Estimate(12.0, 6.0, 20.0),
)


@pytest.mark.parametrize(
    ("chance", "expected_sd", "verdict"),
    [(0.999, 0.2, "tracks"), (0.985, 1.0, "tracks"), (0.97, 0.2, "no sign"), (0.97, 0.5, "not enough counts"), (0.01, 0.2, "no sign")],
)
def test_verdict(chance, expected_sd, verdict):
    """Evidence first; then whether the counts could have shown a moderate effect."""
    assert driver(replace(MANY, chance=chance, expected_sd=expected_sd), ZoneSettings()).verdict == verdict


def test_threshold_is_a_setting():
    """`tracks_chance` decides."""
    assert driver(replace(MANY, chance=0.99), ZoneSettings(tracks_chance=0.995)).verdict == "no sign"


@pytest.mark.parametrize(("name", "step", "words"), [("speed", 0.5, "+0.5 m/s"), ("dryness", 2.0, "-2 points")])
def test_effect_is_a_factor_a_step(name, step, words):
    """The slope of log loss becomes the factor of one step, with its interval."""
    found = driver(replace(MANY, name=name), ZoneSettings())
    assert found.effect_step == words
    assert found.effect.mean == pytest.approx(math.exp(0.8 * step))
    assert (found.effect.low, found.effect.high) == pytest.approx((math.exp(0.4 * step), math.exp(1.2 * step)))


@given(st.floats(0.05, 1.1), st.sampled_from(["speed", "dryness"]))
def test_stops_needed_make_the_moderate_effect_findable(expected_sd, name):
    """With that many stops like these the expected sd just finds a moderate effect."""
    found = driver(replace(MANY, name=name, expected_sd=expected_sd), ZoneSettings())
    a_stop = (expected_sd**-2 - MANY.prior_sd**-2) / MANY.stops
    sd = (MANY.prior_sd**-2 + a_stop * found.stops_needed) ** -0.5
    assert FOUND * sd <= math.log(MODERATE[name]) / STEPS[name][0] * (1 + 1e-9)
    one_less = (MANY.prior_sd**-2 + a_stop * (found.stops_needed - 1)) ** -0.5
    assert found.stops_needed == 1 or FOUND * one_less >= math.log(MODERATE[name]) / STEPS[name][0] * (1 - 1e-9)


def test_stops_that_say_nothing_give_no_number():
    """Where the stops leave the prior as it was, nobody knows how many it takes."""
    assert driver(replace(MANY, chance=0.5, expected_sd=1.2), ZoneSettings()).stops_needed is None


def test_missing_layer_is_said():
    """Without the layer: not enough counts, no effect, and the reason in the note."""
    nan = math.nan
    none = SlopeEvidence("dryness", NOTHING, nan, nan, 0.4, nan, nan, 0, NOTHING, "the log has no moisture")
    found = driver(none, ZoneSettings())
    assert (found.verdict, found.note, found.stops) == ("not enough counts", "the log has no moisture", 0)
    assert not found.effect
    assert not found.share_kg_ha


@pytest.mark.parametrize(("name", "step"), [("speed", 0.5), ("dryness", 2.0)])
def test_a_moderate_effect_is_found_eight_times_in_ten(name, step):
    """Slopes drawn about a moderate one with that sd pass a one-sided test at 1.5 % in 80 of 100 (statistics.NormalDist)."""
    normal, sd = NormalDist(), found_sd(name)
    passes = 1 - NormalDist(math.log(MODERATE[name]) / step, sd).cdf(normal.inv_cdf(0.985) * sd)
    assert passes == pytest.approx(0.80, abs=0.002)
