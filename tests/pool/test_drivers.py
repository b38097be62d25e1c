"""What is said of a driver: three verdicts, the share of the loss, a hidden cause, and what is no driver."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from lossmap.base.settings import SeasonSettings
from lossmap.pool.drivers import pooled_driver

USUAL = SeasonSettings()


def said(fields, name="speed"):
    """The driver alone."""
    return pooled_driver(name, fields, USUAL)[0]


def test_verdicts(made_season, moderate):
    """A slope in 20 fields tracks; none in 40 well counted ones is no sign; none in 3 poorly counted ones is not enough counts."""
    rng = np.random.default_rng(1)
    assert said(made_season(rng, 20, moderate["speed"], 0.3, 0.4).fields).verdict == "tracks"
    assert said(made_season(rng, 40, 0.0, 0.0, 0.3).fields).verdict == "no sign"
    assert said(made_season(rng, 3, 0.0, 0.0, 1.0).fields).verdict == "not enough counts"


def test_no_sign_means_a_moderate_effect_would_have_been_found(made_season, moderate):
    """Where the counts are just enough by what they were to tell, moderate slopes that vary by half are found 7 to 10 times in 10."""
    rng = np.random.default_rng(2)
    fields = next(n for n in range(2, 200) if said(made_season(np.random.default_rng(0), n, -0.5, 0.0, 0.6).fields).verdict == "no sign")
    slope = moderate["speed"]
    found = [said(made_season(rng, fields, slope, slope / 2, 0.6).fields).verdict == "tracks" for _ in range(80)]
    assert 0.7 <= np.mean(found) < 1


def test_effect_is_the_slope_over_one_step(made_season):
    """exp of half a slope for speed; interval in order; leaning counts fields."""
    made = made_season(np.random.default_rng(3), 12, 0.8, 0.2, 0.3)
    found = said(made.fields)
    assert found.effect.mean == pytest.approx(math.exp(0.5 * found.slope.mean))
    assert found.effect.low < found.effect.mean < found.effect.high
    assert found.effect_step == "+0.5 m/s"
    assert found.leaning == sum(field.drivers["speed"].means[0] > 0 for field in made.fields)


def test_one_field_alone_gives_about_its_own_posterior(made_season):
    """Mean within a third of its sd, interval at most a tenth wider, and nothing that differs between fields."""
    for rng_seed in range(5):
        found = said(made_season(np.random.default_rng(rng_seed), 1, 0.8, 0.3, 0.4).fields)
        own, drawn = found.shrunken["f0000"].own, found.shrunken["f0000"].slope
        width = own.high - own.low
        for one in (found.slope, drawn):
            assert one.mean == pytest.approx(own.mean, abs=width / 3.29 / 3)
            assert 0.99 <= (one.high - one.low) / width < 1.1
        assert not found.between_sd


def test_share_holds_what_was_planted(made_season):
    """Loss that goes with speed, by area over all fields: the truth in 84 to 97 % of 100 intervals."""
    rng = np.random.default_rng(4)
    held = []
    for _ in range(100):
        made = made_season(rng, 15, 0.8, 0.3, 0.4)
        fields = [dataclasses.replace(field, area_ha=float(area)) for field, area in zip(made.fields, rng.uniform(10, 60, 15), strict=True)]
        true = sum(
            field.area_ha * 100 * (1 - 1 / np.exp(slope * np.array(field.drivers["speed"].beyond)).mean())
            for field, slope in zip(fields, made.slopes, strict=True)
        ) / sum(field.area_ha for field in fields)
        share = said(fields).share_kg_ha
        held.append(share.low <= true <= share.high)
    assert 0.84 <= np.mean(held) <= 0.97


def test_hidden_cause_needs_the_textbook_s_correlation(made_season):
    """A cause left out, as strong as all unknown reasons, at that correlation gives the slope where there is none."""
    found = said(made_season(np.random.default_rng(5), 20, 0.8, 0.1, 0.2).fields)
    rng = np.random.default_rng(6)
    beyond = np.array(made_season(rng, 1).fields[0].drivers["speed"].beyond)
    driver = rng.choice(beyond, 400_000)
    standard = (driver - driver.mean()) / beyond.std()
    r = found.hidden_correlation.mean
    hidden = r * standard + math.sqrt(1 - r**2) * rng.normal(size=driver.size)
    assert np.polyfit(driver, 0.6 * hidden, 1)[0] == pytest.approx(found.slope.mean, rel=0.02)
    assert found.hidden_correlation.low < r < found.hidden_correlation.high


def test_hidden_correlation_stops_at_one_and_is_told_of_links_only(made_season):
    """A slope steeper than any such cause could make it; no link, nothing to explain away."""
    steep = made_season(np.random.default_rng(7), 20, 2.5, 0.1, 0.2).fields
    assert said([dataclasses.replace(field, log_loss_sd=0.1) for field in steep]).hidden_correlation.mean == 1.0
    assert not said(made_season(np.random.default_rng(8), 20).fields).hidden_correlation
    assert not said([dataclasses.replace(field, log_loss_sd=math.nan) for field in steep]).hidden_correlation


def test_what_lies_between_fields_is_never_a_driver(made_field, seen):
    """Fields that were cut faster lose more, within none of them is there a slope: shown between, not tracked."""
    rng = np.random.default_rng(9)
    speeds = rng.uniform(1.5, 2.5, 40)
    fields = [
        made_field(
            f"f{n:02d}",
            float(100 * np.exp(1.5 * (speed - 2) + rng.normal(0, 0.1))),
            0.05,
            speed=dataclasses.replace(seen(float(rng.normal(0, 0.3)), 0.3), mean=float(speed)),
        )
        for n, speed in enumerate(speeds)
    ]
    found = said(fields)
    assert found.verdict != "tracks"
    assert found.between_fields.low > 1
    assert found.between_fields.low <= 1.5 <= found.between_fields.high


def test_without_a_level_for_each_field_what_lies_between_them_is_taken_for_a_driver(made_field, seen):
    """Truth: no slope within any field, faster fields lose more; ours flags 2 of 40 seasons at most, one line through all stops half."""
    rng, ours, uncentred = np.random.default_rng(31), 0, 0
    for _ in range(40):
        speeds = rng.uniform(1.7, 2.3, (20, 1)) + rng.normal(0, 0.3, (20, 12))
        losses = 1.5 * (speeds.mean(axis=1, keepdims=True) - 2) + rng.normal(0, 0.5, speeds.shape)
        inside = speeds - speeds.mean(axis=1, keepdims=True)
        slopes, sds = (inside * losses).sum(axis=1) / (inside**2).sum(axis=1), 0.5 / np.sqrt((inside**2).sum(axis=1))
        fields = [
            made_field(f"f{n:02d}", speed=seen(float(slope), float(sd))) for n, (slope, sd) in enumerate(zip(slopes, sds, strict=True))
        ]
        ours += said(fields).verdict == "tracks"
        every = (speeds - speeds.mean()).ravel()
        line = every @ losses.ravel() / (every @ every)
        left = losses.ravel() - losses.mean() - line * every
        uncentred += line > 2.05 * left.std() / math.sqrt(every @ every)
    assert ours <= 2
    assert uncentred >= 20


def test_dryness_rises_as_moisture_falls(made_field, seen):
    """Drier fields that lose more have a slope above 0 between them."""
    fields = [
        made_field(f"f{n:02d}", 100 * 1.1**n, 0.05, dryness=dataclasses.replace(seen(0.1, 0.2, "dryness"), mean=15.0 - 0.2 * n))
        for n in range(12)
    ]
    assert said(fields, "dryness").between_fields.low > 0
    assert said(fields, "dryness").effect_step == "-2 points"


def test_a_field_rests_on_the_season_only_where_the_season_tracks(made_season):
    """A field sure of itself among many that fall with speed is not lifted by the season."""
    made = made_season(np.random.default_rng(10), 12, -0.5, 0.1, 0.3)
    strong = made_season(np.random.default_rng(11), 1, 2.0, 0.0, 0.2).fields[0]
    found = said([*made.fields, dataclasses.replace(strong, field_id="strong")])
    assert found.verdict != "tracks"
    assert not any(one.tracks for one in found.shrunken.values())
    assert said(made_season(np.random.default_rng(12), 20, 0.9, 0.1, 0.3).fields).shrunken["f0003"].tracks


def test_curves_start_at_one_and_follow_the_slopes(made_season):
    """No effect at the reference; a field's own factor is that of its drawn slope."""
    driver, curve = pooled_driver("speed", made_season(np.random.default_rng(13), 8, 0.8, 0.2, 0.4).fields, USUAL)
    assert curve.beyond[0] == 0.0
    assert (curve.factor[0].low, curve.factor[0].mean, curve.factor[0].high) == (1.0, 1.0, 1.0)
    assert list(curve.beyond) == sorted(set(curve.beyond))
    assert curve.factor[-1].mean == pytest.approx(math.exp(driver.slope.mean * curve.beyond[-1]))
    assert curve.fields["f0002"][-1] == pytest.approx(math.exp(driver.shrunken["f0002"].slope.mean * curve.beyond[-1]))


def test_nothing_known_says_so(made_field):
    """No field that can speak of the driver: every figure unknown, and a note."""
    driver, curve = pooled_driver("dryness", [made_field("a"), made_field("b")], USUAL)
    assert (driver.verdict, driver.fields, driver.shrunken) == ("not enough counts", 0, {})
    assert not (driver.slope or driver.effect or driver.share_kg_ha)
    assert driver.note == "no field's counts can speak of dryness"
    assert curve.beyond == ()


def test_ground_nowhere_beyond_the_reference_has_no_curve(made_field, seen):
    """Every place slower than where an effect may begin: a verdict all the same."""
    flat = dataclasses.replace(seen(0.2, 0.5), beyond=(0.0, 0.0))
    driver, curve = pooled_driver("speed", [made_field("a", speed=flat)], USUAL)
    assert curve.beyond == ()
    assert driver.share_kg_ha.mean == pytest.approx(0.0)
