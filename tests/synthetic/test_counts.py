"""Stops lie where they may, and counts are drawn from what lies there."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from synthetic.plans import QUIET, SMALL

from lossmap.base.tables import SOURCES
from lossmap.synthetic import FT2_M2, Source, make


def test_spread_stops_see_more_of_the_drivers_than_random_ones() -> None:
    """Spread stops vary more in speed and moisture than random ones, in the mean over fields."""
    ratios = []
    for seed in range(6):
        spread, random = (make(dataclasses.replace(SMALL, design=design), seed).truth.stops for design in ("spread", "random"))
        ratios.append([spread[name].std() / random[name].std() for name in ("speed_m_s", "moisture_pct")])
    assert (np.mean(ratios, axis=0) > 1.1).all()


def test_stops_along_passes_lie_on_few_passes() -> None:
    """The convenient design stays on three passes."""
    made = make(dataclasses.replace(SMALL, design="passes", headland_rounds=0), 3)
    course = np.radians(made.plan.course_deg)
    across = made.truth.stops["easting_m"] * np.cos(course) - made.truth.stops["northing_m"] * np.sin(course)
    assert across.round(0).nunique() <= 3


@pytest.mark.parametrize("design", ["random", "spread", "passes"])
def test_stops_lie_where_the_combine_was_under_way(design: str) -> None:
    """Each stop is on cut land, away from the ends of passes, and counted within metres of its true place."""
    made = make(dataclasses.replace(QUIET, design=design, headland_rounds=0, stop_noise_m=2.0), 3)
    truth = made.truth.stops
    for stop in truth.itertuples():
        away = np.hypot(made.points.geometry.x - stop.easting_m, made.points.geometry.y - stop.northing_m)
        on_pass = made.truth.records["pass_id"] == made.truth.records["pass_id"][away.idxmin()]
        run = made.points["distance_m"][on_pass].cumsum()
        assert 14 <= run[away.idxmin()] <= run.iloc[-1] - 12
    first = made.counts.drop_duplicates("stop_id").set_index("stop_id").loc[truth["stop_id"]]
    off = np.hypot(first.geometry.x - truth["easting_m"].to_numpy(), first.geometry.y - truth["northing_m"].to_numpy())
    assert 0.5 < off.mean() < 5


@pytest.mark.parametrize(("clumping_r", "frames"), [(1.5, 1), (6.0, 4)])
def test_counts_have_the_planted_mean_and_clumping(clumping_r: float, frames: int) -> None:
    """Over many stops of an even field: mean density and var = m + m^2 / (r x frames), within 5 standard errors."""
    even = {source: Source(getattr(SMALL, source).mean_kg_ha, 0.0) for source in SOURCES}
    plan = dataclasses.replace(SMALL, clumping_r=clumping_r, frames=frames, stops=1200, **even)
    counts = make(plan, 8).counts
    seeds = counts.loc[counts["position"] == "behind_header", "seeds"]
    mean = (12 + 80) * 100 / plan.thousand_seeds_g * FT2_M2 * frames
    variance = mean + mean**2 / (clumping_r * frames)
    assert seeds.mean() == pytest.approx(mean, abs=5 * np.sqrt(variance / len(seeds)))
    assert seeds.var() == pytest.approx(variance, rel=0.25)


def test_only_what_the_machine_let_through_is_concentrated() -> None:
    """Behind the combine lies what lay before, plus threshing loss times header over discharge width."""
    even = {"preharvest": Source(30, 0.0), "header": Source(60, 0.0), "threshing": Source(25, 0.0)}
    plan = dataclasses.replace(SMALL, discharge_width_m=1.524, stops=800, **even)
    counts = make(plan, 8).counts
    per_kg = 100 / plan.thousand_seeds_g * FT2_M2 * plan.frames
    means = counts.groupby("position")["seeds"].mean() / per_kg
    assert means["before_header"] == pytest.approx(30, rel=0.08)
    assert means["behind_header"] == pytest.approx(90, rel=0.08)
    assert means["behind_combine"] == pytest.approx(90 + 6 * 25, rel=0.08)


def test_ears_carry_their_share() -> None:
    """Loose seeds and ears together are the loss, each in rows of their own."""
    even = {"preharvest": Source(50, 0.0), "header": Source(150, 0.0), "threshing": Source(25, 0.0)}
    plan = dataclasses.replace(SMALL, crop="corn", ears=0.4, ear_g=150, stops=600, **even)
    counts = make(plan, 8).counts
    at_header = counts[counts["position"] == "behind_header"]
    ears = at_header[at_header["ears"].notna()]
    seeds = at_header[at_header["seeds"].notna()]
    in_ears = (ears["ears"] * ears["grams_per_ear"] * 10 / ears["frame_m2"]).mean()
    in_seeds = (seeds["seeds"] * plan.thousand_seeds_g / 100 / seeds["frame_m2"]).mean()
    assert in_ears == pytest.approx(80, rel=0.08)
    assert in_seeds == pytest.approx(120, rel=0.08)
    assert counts.loc[counts["position"] == "behind_combine", "ears"].isna().all()


def test_weighed_seeds_are_grams_of_the_true_seed() -> None:
    """Weighing gives grams and no seeds; the true seed mass, not the stated one, is on the scale."""
    counted = make(dataclasses.replace(SMALL, seed_mass_g=180), 8).counts
    weighed = make(dataclasses.replace(SMALL, seed_mass_g=180, stated_seed_mass_g=150, weighed=True), 8).counts
    assert weighed["seeds"].isna().all()
    np.testing.assert_allclose(weighed["grams"], counted["seeds"] * 0.18, atol=0.051)
