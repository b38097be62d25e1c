"""Random-effects regression: widths that hold at few fields, crops apart, the textbook's answer at many."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from lossmap.pool.regression import contrast


def made(rng, fields, ratio=1.0, between=0.3, log_sd=0.2, crops=1):
    """Log losses of fields, the second half of each crop with its loss times `ratio`."""
    crop = np.arange(fields) % crops
    x = ((np.arange(fields) // crops) % 2).astype(float)
    log = 4.5 + crop + np.log(ratio) * x + rng.normal(0, np.hypot(between, log_sd), fields)
    return log, np.full(fields, log_sd**2), x, crop


@pytest.mark.parametrize("fields", [4, 6, 12, 40])
def test_intervals_hold_at_few_fields_too(fields):
    """Of 400 made seasons 86 to 99 % of the 90 % intervals hold a ratio of 0.7; at 12 fields and more at most 95 %."""
    rng = np.random.default_rng(fields)
    held = []
    for _ in range(400):
        found = contrast(*made(rng, fields, 0.7)).interval()
        held.append(found.low <= np.log(0.7) <= found.high)
    assert 0.86 <= np.mean(held) <= (0.95 if fields >= 12 else 0.99)


@pytest.mark.parametrize("fields", [4, 8, 30])
def test_no_difference_is_rarely_told(fields):
    """Two-sided 5 %: in at most 7 % of 400 seasons."""
    rng = np.random.default_rng(100 + fields)
    assert np.mean([contrast(*made(rng, fields)).two_sided() <= 0.05 for _ in range(400)]) <= 0.07


def test_many_fields_are_the_textbook_s_mean_difference():
    """400 fields of one doubt: the difference of two means and its standard error."""
    log, variance, x, crop = made(np.random.default_rng(1), 400, 0.8)
    found = contrast(log, variance, x, crop).interval()
    here, there = log[x == 1], log[x == 0]
    error = np.sqrt(here.var(ddof=1) / here.size + there.var(ddof=1) / there.size)
    assert found.mean == pytest.approx(here.mean() - there.mean(), abs=1e-9)
    assert (found.high - found.low) / 2 == pytest.approx(1.645 * error, rel=0.05)


def test_crops_stand_apart():
    """A header used mostly in the crop that loses most is compared within crops: the planted ratio, not the crops'."""
    rng = np.random.default_rng(2)
    crop = np.repeat([0, 1], 60)
    x = np.concatenate([rng.random(60) < 0.8, rng.random(60) < 0.2]).astype(float)
    log = 4.0 + np.where(crop == 0, 1.5, 0.0) + rng.normal(0, 0.2, 120)
    found = contrast(log, np.full(120, 0.01), x, crop).interval()
    assert found.low <= 0 <= found.high
    blind = contrast(log, np.full(120, 0.01), x, np.zeros(120, int)).interval()
    assert blind.low > 0


def test_precise_fields_count_more():
    """A field told badly moves the slope less than one told well, where fields differ little."""
    log, variance, x, crop = (
        np.array([0.0, 0.1, 0.0, 0.1, 2.0]),
        np.array([0.01, 0.01, 0.01, 0.01, 4.0]),
        np.array([0, 0, 1, 1, 1.0]),
        np.zeros(5, int),
    )
    assert contrast(log, variance, x, crop).interval().mean < 0.25
    variance[-1] = 0.01
    assert contrast(log, variance, x, crop).interval().mean > 0.5


def test_what_cannot_be_compared_is_none():
    """Too few fields, one level in each crop, or no difference in x."""
    two = np.zeros(2)
    assert contrast(two, two + 0.01, np.array([0, 1.0]), np.zeros(2, int)) is None
    four = np.zeros(4)
    assert contrast(four, four + 0.01, np.array([0, 0, 1, 1.0]), np.array([0, 0, 1, 1])) is None
    assert contrast(four, four + 0.01, four + 5.0, np.zeros(4, int)) is None


def test_chances_agree_with_intervals():
    """The two-sided chance is what the interval that just leaves out 0 leaves out; tails are heavier than a normal's."""
    found = contrast(*made(np.random.default_rng(5), 6, 0.5))
    left_out = found.two_sided()
    ends = found.interval(1 - left_out)
    assert min(abs(ends.low), abs(ends.high)) == pytest.approx(0, abs=1e-6)
    wide, usual = found.interval(0.99), found.interval(0.9)
    assert (wide.high - wide.low) / (usual.high - usual.low) > stats.norm.ppf(0.995) / stats.norm.ppf(0.95)
