"""Down to which speed slower pays: against brute force, by hand, and as laws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.special import ndtri
from slow.fields import alike, plans
from slow.findings_pace import advised

from lossmap.base.estimates import NOTHING, Beginning, Driver, Estimate, Pace, SlopeEvidence
from lossmap.synthetic import FieldPlan
from lossmap.zones.effects import LOSSES, SLOPES
from lossmap.zones.pace import Costs, pace, reel_speed

FOUND = Driver("speed", "tracks", Estimate(1.6, 1.4, 1.9), "+0.5 m/s", 0.999, 1.5, 40, 20, Estimate(30.0, 20.0, 40.0))
EVIDENCE = SlopeEvidence("speed", Estimate(0.9, 0.57, 1.23), 0.2, 0.999, 1.2, 0.2, 1.5, 40, Estimate(30.0, 20.0, 40.0))
DRIVEN = np.linspace(1.0, 3.0, 500)
LOSS = Estimate(200.0, 170.0, 230.0)
COSTS = Costs(300.0, 0.165, 9.144, 70.0)
MPH = 0.44704


def _sure(slope: float) -> SlopeEvidence:
    """Evidence with next to no doubt."""
    return replace(EVIDENCE, slope=Estimate(slope, slope, slope), sd=1e-9)


def test_worked_by_hand() -> None:
    """A slope of 1 and one loss: the minimum is where hours saved by 1 m/s equal grain lost by it.

    Most was driven at 2 m/s. 3.6 USD an hour on 1 m of header at 100 %: an hour costs
    0.001 USD/s, so a square metre 0.001/v USD and a hectare 10/v USD. Grain of 1 USD/kg, loss
    a exp(v - 1) with a exp(2 - 1) = 2.5 kg/ha at 2 m/s. There 10/v2 = 2.5 = a exp(v - 1): 2 m/s costs least.
    """
    driven = np.repeat([1.5, 2.0, 2.5], [60, 880, 60])
    loss = 2.5 / math.e * float(np.mean(np.exp(driven - 1)))
    found = pace(FOUND, replace(_sure(1.0), reference=1.0), driven, Estimate(loss, loss, loss), Costs(3.6, 1.0, 1.0, 100.0))
    assert (found.slowest_m_s, found.fastest_m_s) == (1.5, 2.5)
    assert found.best_m_s.mean == pytest.approx(2.0, abs=0.01)
    assert found.today_m_s == pytest.approx(2.0)
    assert found.gain_usd_ha.mean == pytest.approx(0.0, abs=1e-3)


def test_brute_force_agrees() -> None:
    """Each slope and loss minimised by scipy over the driven range; middle, ends and gain of all of them."""
    found = pace(FOUND, EVIDENCE, DRIVEN, LOSS, COSTS)
    sd = (LOSS.high - LOSS.low) / (2 * 1.6448536)
    variance = math.log(1 + (sd / LOSS.mean) ** 2)
    best, gains, evens = [], [], []
    for slope in EVIDENCE.slope.mean + EVIDENCE.sd * ndtri((np.arange(SLOPES) + 0.5) / SLOPES):
        level = np.mean(np.exp(slope * np.maximum(DRIVEN - 1.5, 0)))
        for step in ndtri((np.arange(LOSSES) + 0.5) / LOSSES):
            loss = math.exp(math.log(LOSS.mean) - variance / 2 + math.sqrt(variance) * step)

            def cost(v: float, slope: float = slope, at_reference: float = loss / level) -> float:
                hours = 10_000 / (9.144 * v * 0.70 * 3600)
                return 300 * hours + 0.165 * at_reference * math.exp(slope * max(v - 1.5, 0))

            best.append(minimize_scalar(cost, bounds=(found.slowest_m_s, found.fastest_m_s), method="bounded").x)
            gains.append(cost(float(DRIVEN.mean())) - cost(found.best_m_s.mean))
            clipped = np.clip(DRIVEN, found.slowest_m_s, found.fastest_m_s)
            as_driven = 300 * np.mean(10_000 / (9.144 * clipped * 0.70 * 3600)) + 0.165 * loss
            evens.append(as_driven - cost(found.best_m_s.mean))
    low, middle, high = np.quantile(best, (0.05, 0.5, 0.95))
    assert (found.best_m_s.low, found.best_m_s.mean, found.best_m_s.high) == pytest.approx((low, middle, high), abs=0.006)
    assert (found.gain_usd_ha.low, found.gain_usd_ha.high) == pytest.approx(tuple(np.quantile(gains, (0.05, 0.95))), rel=0.01, abs=0.01)
    assert found.even_usd_ha.mean == pytest.approx(float(np.median(evens)), rel=0.01)
    an_hour = 9.144 * found.best_m_s.mean * 0.70 * 3600 / 10_000
    assert found.gain_usd_h.high == pytest.approx(found.gain_usd_ha.high * an_hour)


@given(st.floats(1, 5000), st.floats(1.0, 20.0), st.floats(-1.0, 3.0))
def test_a_dearer_hour_is_never_driven_slower(hour: float, by: float, slope: float) -> None:
    """Law: raising the hour's value raises the speed or leaves it, low, middle and high."""
    evidence = replace(EVIDENCE, slope=Estimate(slope, slope - 0.3, slope + 0.3))
    cheap, dear = (pace(FOUND, evidence, DRIVEN, LOSS, replace(COSTS, hour_usd_h=value)).best_m_s for value in (hour, hour * by))
    assert (dear.low >= cheap.low, dear.mean >= cheap.mean, dear.high >= cheap.high) == (True, True, True)


@given(st.floats(0.01, 5), st.floats(1.0, 20.0), st.floats(0.0, 3.0))
def test_dearer_grain_is_never_driven_faster(price: float, by: float, slope: float) -> None:
    """Law: the same for the price, the other way round."""
    evidence = _sure(slope)
    cheap, dear = (pace(FOUND, evidence, DRIVEN, LOSS, replace(COSTS, price_usd_kg=value)).best_m_s for value in (price, price * by))
    assert (dear.low <= cheap.low, dear.mean <= cheap.mean, dear.high <= cheap.high) == (True, True, True)


@pytest.mark.parametrize("slope", [0.0, -0.5])
def test_without_a_slope_as_fast_as_driven(slope: float) -> None:
    """Nothing is saved by slowing: the fastest speed that was driven, and no faster."""
    found = pace(FOUND, _sure(slope), DRIVEN, LOSS, COSTS)
    assert found.best_m_s.low == found.best_m_s.high == found.fastest_m_s == pytest.approx(2.9)


def test_below_the_reference_nothing_is_saved() -> None:
    """However dear the grain, slower than the reference is not advised."""
    found = pace(FOUND, _sure(3.0), DRIVEN, LOSS, replace(COSTS, price_usd_kg=50.0))
    assert found.best_m_s.mean == pytest.approx(1.5, abs=0.006)


def test_an_interval_over_most_of_the_range_tells_nothing_apart() -> None:
    """A slope that may be none or strong leaves nearly every speed open; so does a field driven at one speed."""
    assert pace(FOUND, EVIDENCE, DRIVEN, LOSS, COSTS).verdict == "told"
    dear = replace(COSTS, price_usd_kg=0.5)
    assert (
        pace(FOUND, replace(EVIDENCE, slope=Estimate(0.4, -0.4, 1.2), sd=0.5, reference=1.0), DRIVEN, LOSS, dear).verdict
        == "not told apart"
    )
    assert pace(FOUND, EVIDENCE, np.full(50, 2.0), LOSS, COSTS).verdict == "not told apart"


def test_nothing_is_said_without_link_loss_speed_or_price() -> None:
    """Each with its own verdict, no number, and the settings that are missing."""
    assert pace(replace(FOUND, verdict="no sign"), EVIDENCE, DRIVEN, LOSS, COSTS).verdict == "no link"
    assert pace(FOUND, EVIDENCE, np.array([math.nan]), LOSS, COSTS).verdict == "not known"
    assert pace(FOUND, EVIDENCE, DRIVEN, NOTHING, COSTS).verdict == "not known"
    bare = pace(FOUND, EVIDENCE, DRIVEN, LOSS, Costs(None, None, 9.144, 70.0))
    assert (bare.verdict, bare.missing) == ("not priced", ("report.hour_value", "report.price"))
    assert not bare.best_m_s
    assert pace(FOUND, EVIDENCE, DRIVEN, LOSS, replace(COSTS, hour_usd_h=None)).missing == ("report.hour_value",)


def test_where_the_effect_begins_is_in_doubt_too() -> None:
    """Sure slopes from one speed or from either of two: the second interval is wider, and one beginning is the plain case."""
    sure = replace(_sure(2.5), beginnings=(Beginning(1.5, 3.0, 2.5, 1e-9),))
    either = replace(sure, beginnings=(Beginning(2.0, 1.0, 2.5, 1e-9), Beginning(1.5, 1.0, 2.5, 1e-9)))
    dear = replace(COSTS, price_usd_kg=5.0)
    plain, one, two = (pace(FOUND, evidence, DRIVEN, LOSS, dear).best_m_s for evidence in (_sure(2.5), sure, either))
    assert one == plain
    assert one.high - one.low < 0.02
    assert (two.low, two.high) == pytest.approx((1.30, 2.425), abs=0.06)  # from half a gap below the first to a whole gap above the second
    unlikely = replace(sure, beginnings=(Beginning(1.5, 1.0, 2.5, 1e-9), Beginning(2.8, 1e-6, 2.5, 1e-9)))
    assert pace(FOUND, unlikely, DRIVEN, LOSS, dear).best_m_s.high < 2.2


@settings(max_examples=25)  # four times the work of one
@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0), st.floats(0.1, 10.0))
def test_units_of_money_mass_and_length_change_nothing(money: float, mass: float, length: float) -> None:
    """Law: in another currency the speed is the same and savings are in it; in another mass or length all is the same."""
    hour, price = COSTS.hour_usd_h or math.nan, COSTS.price_usd_kg or math.nan
    plain = pace(FOUND, EVIDENCE, DRIVEN, LOSS, COSTS)
    paid = pace(FOUND, EVIDENCE, DRIVEN, LOSS, replace(COSTS, hour_usd_h=hour * money, price_usd_kg=price * money))
    weighed = pace(FOUND, EVIDENCE, DRIVEN, LOSS.times(mass), replace(COSTS, price_usd_kg=price / mass))
    slope = replace(EVIDENCE, slope=EVIDENCE.slope.times(1 / length), sd=EVIDENCE.sd / length, reference=EVIDENCE.reference * length)
    long = pace(FOUND, slope, DRIVEN * length, LOSS, replace(COSTS, header_width_m=COSTS.header_width_m / length))
    assert _numbers(paid) == pytest.approx([*_numbers(plain)[:3], *(money * each for each in _numbers(plain)[3:])])
    assert _numbers(weighed) == pytest.approx(_numbers(plain))
    assert _numbers(long) == pytest.approx([*(length * each for each in _numbers(plain)[:3]), *_numbers(plain)[3:]])


def _numbers(found: Pace) -> list[float]:
    """Best speed, and what it saves over the mean and over the speeds as driven."""
    return [number for each in (found.best_m_s, found.gain_usd_ha, found.even_usd_ha) for number in (each.low, each.mean, each.high)]


def test_fewer_counts_tell_less() -> None:
    """Three made fields counted at 24 stops of one frame and at 96 of four: many counts narrow the best speed and both savings."""
    few, many = ([advised(*_planted(stops, frames, rng_seed)).said for rng_seed in (1, 2, 3)] for stops, frames in ((24, 1), (96, 4)))
    for name in ("best_m_s", "gain_usd_ha", "even_usd_ha"):
        wide, narrow = (sum(getattr(each, name).high - getattr(each, name).low for each in all_said) for all_said in (few, many))
        assert wide > narrow > 0


def test_planted_speed_is_found() -> None:
    """A strong effect from 1.8 m/s, 48 stops: told, and speed and savings as planted lie in their intervals."""
    found = advised(*_planted(48, 4, 1))
    assert found.is_told
    for said, true in (
        (found.said.best_m_s, found.best_m_s),
        (found.said.gain_usd_ha, found.gain_usd_ha),
        (found.said.even_usd_ha, found.even_usd_ha),
    ):
        assert said.low < true < said.high


def _planted(stops: int, frames: int, rng_seed: int) -> tuple[FieldPlan, int]:
    return plans(alike, [rng_seed], stops=stops, frames=frames, speed_effect=2.22, speed_knot_m_s=1.8, design="spread")[0]


def test_hectares_an_hour() -> None:
    """4 mph on 30 ft is 14.55 ac/h when nothing is lost in turns (exact), 70 % of it otherwise."""
    full = Costs(None, None, 30 * 0.3048, 100.0).hectares_an_hour(4 * MPH)
    assert float(full) / 0.40468564224 == pytest.approx(14.545, abs=0.001)
    assert float(COSTS.hectares_an_hour(4 * MPH)) == pytest.approx(0.70 * float(full))


@pytest.mark.parametrize(("rpm", "index"), [(12.0048, 1.5), (11.0, 1.374447), (10.004025, 1.25)])
def test_reel_index_of_published_rules(rpm: float, index: float) -> None:
    """A 42-in reel at 1 mph: 504/42 turns are 1.5; 11 turns are 1.374; 10.0 turns are 1.25 (shared/worked, I01, I03, I04)."""
    found = reel_speed(42 * 0.0254, rpm, np.full(4, MPH))
    assert found is not None
    assert found.index == found.slow_index == found.fast_index == pytest.approx(index, rel=1e-4)
    assert found.rpm_per_index * index == pytest.approx(rpm, rel=1e-4)


def test_reel_index_falls_with_speed() -> None:
    """Slow passes have the higher index, the mean lies between, and no speed gives no index."""
    found = reel_speed(1.0668, 46.0, DRIVEN)
    assert found is not None
    assert found.slow_index > found.index > found.fast_index
    assert found.slow_index / found.fast_index == pytest.approx(2.9 / 1.1)
    assert reel_speed(1.0668, 46.0, np.array([math.nan, 0.0])) is None
