"""The trade's arithmetic against printed figures and itself."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.loss import arithmetic

FT2_M2 = 0.3048**2
BU_AC_OF_60_LB = 67.25  # kg/ha

amount = st.floats(0.01, 1e4)


def bushels(seeds_ft2: float) -> float:
    """bu/ac of a small grain whose 20 seeds a square foot are one [SG03]."""
    return seeds_ft2 / 20


@pytest.mark.parametrize(("seeds", "mass_g", "bu_ac"), [(4, 156.2, 1.0), (20, 31.25, 1.0), (12, 156.2, 3.0), (16, 39.1, 1.0)])
def test_seeds_on_a_square_foot_are_the_printed_bushels(seeds, mass_g, bu_ac):
    """Soybean 4, wheat 20 and durum 16 seeds a square foot are a bushel an acre [MU1280, SG03]."""
    loss = arithmetic.seed_loss_kg_ha(seeds, FT2_M2, mass_g)
    assert loss / BU_AC_OF_60_LB == pytest.approx(bu_ac, rel=0.005)


@given(amount, amount, st.floats(0.5, 2000))
def test_seeds_of_a_loss_undo_loss_of_seeds(seeds, area, mass_g):
    """Seeds to loss and back is where it began."""
    assert arithmetic.seeds_m2_of_loss(arithmetic.seed_loss_kg_ha(seeds, area, mass_g), mass_g) == pytest.approx(seeds / area)


def test_subtract_first_divide_after():
    """100 behind and 20 in front of a 24 ft header with a 4 ft discharge: 0.667 bu/ac, never -0.167 (Hofman's steps)."""
    ratio = arithmetic.concentration_ratio(24, 4)
    assert arithmetic.machine_loss_kg_ha(bushels(100), bushels(20), ratio) == pytest.approx(0.667, abs=0.001)
    assert bushels(100) / ratio - bushels(20) == pytest.approx(-0.167, abs=0.001)


@given(amount, amount, amount, st.floats(0.5, 10))
def test_split_adds_up_to_what_lies_behind(preharvest, header, threshing, ratio):
    """What the split takes apart is what was laid together."""
    front = preharvest + header
    split = arithmetic.loss_split_kg_ha(preharvest, front, front + ratio * threshing, ratio)
    assert split == pytest.approx((preharvest, header, threshing), rel=1e-6, abs=1e-6)


@given(amount, amount)
def test_percent_of_harvested_is_the_larger(loss, harvested):
    """The two bases differ as they must, and agree on what was lost."""
    of_total, of_harvested = arithmetic.percent_of_total(loss, harvested), arithmetic.percent_of_harvested(loss, harvested)
    assert of_total <= of_harvested
    assert of_total / 100 * (loss + harvested) == pytest.approx(loss)


@given(st.floats(14, 40), st.floats(5, 14))
def test_drying_keeps_dry_matter(moisture, final):
    """What is left after water shrink holds the dry matter there was."""
    left = 1000 * (1 - arithmetic.water_shrink_pct(moisture, final) / 100)
    assert arithmetic.dry_matter_kg(left, final) == pytest.approx(arithmetic.dry_matter_kg(1000.0, moisture))


@pytest.mark.parametrize(("moisture", "short"), [(8.0, 5.43), (9.0, 4.4), (10.0, 3.3), (13.0, 0.0), (15.0, 0.0)])
def test_weight_short_of_dry_soybean(moisture, short):
    """Soybean sold at 8, 9 and 10 % weighs 5.43, 4.4 and 3.3 % less; wet ones are not short (Nebraska, 2016)."""
    assert arithmetic.weight_short_pct(moisture, 13.0) == pytest.approx(short, abs=0.05)


def test_yield_of_a_record():
    """8 kg/s for a second over 9 m x 2 m at 20 %, sold at 15.5 %."""
    found = arithmetic.yield_at_moisture_kg_ha(np.array([8.0]), 1.0, 18.0, 20.0, 15.5)
    assert found == pytest.approx(8 / 18 * 10_000 * 0.8 / 0.845)


@pytest.mark.parametrize(("rows", "spacing_in", "feet"), [(1, 30, 174.24), (6, 30, 29.04), (12, 20, 21.78), (6, 38, 22.93)])
def test_swath_for_a_hundredth_of_an_acre(rows, spacing_in, feet):
    """Lengths for 1/100 acre, which is 435.6 square feet by definition."""
    assert arithmetic.swath_length_m(435.6 * FT2_M2, rows, spacing_in * 0.0254) / 0.3048 == pytest.approx(feet, abs=0.005)


@pytest.mark.parametrize(("header_ft", "inches"), [(8, 15), (15, 8), (20, 6), (30, 4), (35, 3.43)])
def test_strip_of_ten_square_feet(header_ft, inches):
    """Depth of a 10 square foot strip across the header [MU1280, ARR]."""
    assert arithmetic.strip_depth_m(10 * FT2_M2, header_ft * 0.3048) / 0.0254 == pytest.approx(inches, abs=0.01)


def test_hoop():
    """A hoop of one square metre is 1.128 m wide."""
    assert arithmetic.hoop_diameter_m(1.0) == pytest.approx(1.128, abs=0.0005)


@given(st.floats(0.8, 2), st.floats(0.5, 2), st.floats(0.5, 4))
def test_reel_turns_round(index, diameter, speed):
    """The reel's turns at an index give that index."""
    assert arithmetic.reel_speed_index(arithmetic.reel_rpm(index, diameter, speed), diameter, speed) == pytest.approx(index)


def test_reel_at_a_mile_an_hour():
    """12 turns a minute for each mph at 1.5 with a 42 inch reel [REEL]."""
    assert arithmetic.reel_rpm(1.5, 42 * 0.0254, 0.44704) == pytest.approx(12, abs=0.05)


def test_throughput():
    """6 km/h, 9 m, 8 t/ha is 43.2 t/h over 5.4 ha/h."""
    assert arithmetic.throughput_kg_s(6 / 3.6, 9.0, 8000.0) * 3.6 == pytest.approx(43.2)
    assert arithmetic.field_capacity_ha_h(6 / 3.6, 9.0) == pytest.approx(5.4)


def test_ears():
    """One 0.35 lb ear on 1/100 acre is 0.625 bu/ac of corn."""
    loss = arithmetic.ears_kg_ha(1.0, 40.468564224, 0.35 * 453.59237)
    assert loss / 62.77 == pytest.approx(0.625, abs=0.001)


def test_counting_floor():
    """34 seeds leave 17 %, 10 % takes 100 seeds, none found leaves 3.0 possible."""
    assert arithmetic.relative_error(34) == pytest.approx(0.1715, abs=0.0005)
    assert arithmetic.relative_error(0) == math.inf
    assert arithmetic.seeds_for_relative_error(0.1) == pytest.approx(100)
    assert arithmetic.upper_limit_of_zero() == pytest.approx(2.996, abs=0.001)


def test_pan_of_canola():
    """3 g a square foot in the pan at 3 g a thousand are 1,000 seeds; six times concentrated, 48 lb/ac [CCC]."""
    assert arithmetic.seeds_from_mass(3.0, 3.0) == pytest.approx(1000)
    lying = arithmetic.seed_loss_kg_ha(1000.0, FT2_M2, 3.0)
    assert arithmetic.machine_loss_kg_ha(lying, 0.0, 6.0) / 1.12085 == pytest.approx(48.0, abs=0.1)


def test_handling_comes_on_top_of_water():
    """25.5 % to 15.5 % with 0.5 % handling is 12.33 % (a seed company's table)."""
    assert arithmetic.handled_shrink_pct(25.5, 15.5) == pytest.approx(12.33, abs=0.005)
