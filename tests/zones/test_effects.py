"""Effects with their doubt: by hand, beside the exact mixture, as laws, and against planted effects."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import ndtr
from slow.fields import STRONG, alike, plans
from slow.findings_curves import held

from lossmap.base.estimates import NOTHING, Beginning, EffectCurve, Estimate, SlopeEvidence
from lossmap.base.tables import DRIVE
from lossmap.zones.effects import effect_curve, likely_effects

SPEED = SlopeEvidence("speed", Estimate(0.9, 0.57, 1.23), 0.2, 0.999, 1.2, 0.2, 1.5, 40, NOTHING)
DRYNESS = dataclasses.replace(SPEED, name="dryness", slope=Estimate(0.25, 0.1, 0.4), sd=0.09, reference=13.0)
DRIVEN, STOPS = np.linspace(1.0, 3.0, 500), np.array([1.2, 1.9, 2.8])


def exactly(mean_kg_ha: float) -> Estimate:
    """A loss without doubt."""
    return Estimate(mean_kg_ha, mean_kg_ha, mean_kg_ha)


def test_worked_by_hand() -> None:
    """Half the field at 2 m/s, half at 3, a slope of ln 2 from 2 m/s on: 150 kg/ha on average is 100 at 2 m/s and 200 at 3."""
    evidence = dataclasses.replace(SPEED, slope=exactly(math.log(2)), sd=1e-12, reference=2.0)
    curve = effect_curve(evidence, np.repeat([2.0, 3.0], 400), np.array([1.0, 3.0]), exactly(150.0))
    at = dict(zip((round(value, 6) for value in curve.at), curve.loss_kg_ha, strict=True))
    for value, wanted in ((1.0, 100.0), (2.0, 100.0), (2.5, 100 * math.sqrt(2)), (3.0, 200.0)):
        assert at[value].mean == pytest.approx(wanted)
        assert (at[value].low, at[value].high) == pytest.approx((wanted, wanted))


def test_drier_grain_is_read_downwards() -> None:
    """The line is level above the reference moisture and rises below it."""
    curve = effect_curve(DRYNESS, np.linspace(10, 16, 300), np.array([10.0, 16.0]), exactly(100.0))
    middles = [one.mean for one in curve.loss_kg_ha]
    assert middles == sorted(middles, reverse=True)
    assert middles[-1] == pytest.approx(middles[len(middles) // 2 + 1])


def test_band_is_the_exact_one_where_a_formula_gives_it() -> None:
    """Three beginnings, next to no spread of cells: the 5 % and 95 % points of a mixture of normals, found by root search.

    All cells at the slowest speed, before any beginning, so the level has no doubt and the log of
    the curve is a mixture of normals. Beginnings stand for stretches, the last for one that reaches
    a whole gap on, and slopes lie between theirs, so the mixture is taken over their whole width too.
    """
    parts = (Beginning(1.5, 0.5, 0.9, 0.2), Beginning(1.7, 0.3, 0.6, 0.3), Beginning(1.9, 0.2, 1.1, 0.25))
    evidence = dataclasses.replace(SPEED, beginnings=parts)
    curve = effect_curve(evidence, np.full(50, 1.0), np.array([1.0, 3.0]), exactly(100.0))
    stretches = [np.linspace(*ends, 201) for ends in ((1.4, 1.6), (1.6, 1.8), (1.8, 2.1))]

    def slope_and_sd(begun: float) -> tuple[float, float]:
        one, other = parts[:2] if begun < 1.7 else parts[1:]
        share = (begun - one.reference) / 0.2
        return one.slope + share * (other.slope - one.slope), one.sd * (other.sd / one.sd) ** share

    def chance(log: float, begun: float) -> float:
        slope, sd = slope_and_sd(begun)
        return float(ndtr((log / (3.0 - begun) - slope) / sd))

    def below(log: float) -> float:
        return sum(
            part.weight * float(np.mean([chance(log, begun) for begun in stretch])) for part, stretch in zip(parts, stretches, strict=True)
        )

    last = curve.loss_kg_ha[-1]
    for level, found in ((0.05, last.low), (0.5, last.mean), (0.95, last.high)):
        assert math.log(found / 100) == pytest.approx(brentq(lambda log, level=level: below(log) - level, -5, 5), abs=0.04)


@given(st.floats(-1.5, 2.5), st.floats(0.01, 0.8), st.sampled_from([SPEED, DRYNESS]))
def test_the_fields_own_values_give_back_its_mean(slope: float, sd: float, kind: SlopeEvidence) -> None:
    """Law: whatever the slope, every reading averaged over the field as it was cut is the loss that was counted."""
    evidence = dataclasses.replace(kind, slope=Estimate(slope, slope - 2 * sd, slope + 2 * sd), sd=sd)
    everywhere = np.linspace(kind.reference - 1, kind.reference + 1.5, 512)
    found = likely_effects(evidence, everywhere, Estimate(200.0, 170.0, 230.0))
    assert found.at(everywhere).mean(axis=1) == pytest.approx(found.losses, rel=0.01)
    assert found.losses.mean() == pytest.approx(200.0, rel=0.01)


@given(st.floats(0.01, 0.5), st.floats(1.01, 3.0))
def test_more_doubt_of_the_slope_is_a_wider_band(sd: float, by: float) -> None:
    """Law: at both ends of the curve."""
    narrow, wide = (effect_curve(dataclasses.replace(SPEED, sd=part), DRIVEN, STOPS, exactly(100.0)) for part in (sd, sd * by))
    for end in (0, -1):
        one, other = narrow.loss_kg_ha[end], wide.loss_kg_ha[end]
        assert other.high / other.low >= one.high / one.low


def test_it_ends_where_nobody_counted() -> None:
    """From the slowest stop to the fastest, whatever else was driven; stops without a speed do not count."""
    curve = effect_curve(SPEED, np.append(DRIVEN, np.nan), np.append(STOPS, np.nan), exactly(100.0))
    assert (curve.at[0], curve.at[-1]) == (1.2, 2.8)
    assert list(curve.at) == sorted(curve.at)


@pytest.mark.parametrize(
    ("evidence", "everywhere", "stops", "loss"),
    [
        (dataclasses.replace(SPEED, slope=NOTHING, sd=math.nan), DRIVEN, STOPS, exactly(100.0)),
        (SPEED, np.full(4, np.nan), STOPS, exactly(100.0)),
        (SPEED, DRIVEN, np.full(3, np.nan), exactly(100.0)),
        (SPEED, DRIVEN, np.full(3, 2.0), exactly(100.0)),
        (SPEED, DRIVEN, STOPS, exactly(0.0)),
        (SPEED, DRIVEN, STOPS, NOTHING),
    ],
)
def test_nothing_known_is_no_curve(evidence: SlopeEvidence, everywhere: np.ndarray, stops: np.ndarray, loss: Estimate) -> None:
    """No slope, no layer, no stop with a speed, stops all alike, no loss: nothing is drawn."""
    assert effect_curve(evidence, everywhere, stops, loss) == EffectCurve()


def test_planted_effects_lie_inside_the_band() -> None:
    """Truth: strong effects planted in three fields of 48 stops; over both drivers the band holds the planted curve at most places."""
    found = [held(*job) for job in plans(alike, range(900, 903), stops=48, frames=4, **STRONG)]
    assert np.mean([each[name].mean() for each in found for name in DRIVE]) > 0.8
