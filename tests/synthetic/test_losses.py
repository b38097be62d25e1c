"""Loss is what the plan says, and so is what goes with speed and dryness."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from synthetic.plans import SMALL

from lossmap.base.tables import SOURCES
from lossmap.synthetic import MadeField, Source, make


def test_total_is_the_sum_of_the_sources(quiet: MadeField) -> None:
    """In every cell and at every stop."""
    truth = quiet.truth
    parts = sum(truth.surfaces[f"{source}_kg_ha"].mean for source in SOURCES)
    np.testing.assert_allclose(parts, truth.surfaces["total_kg_ha"].mean, rtol=1e-5)
    np.testing.assert_allclose(sum(truth.stops[f"{source}_kg_ha"] for source in SOURCES), truth.stops["total_kg_ha"], rtol=1e-5)
    assert sum(truth.mean_kg_ha[source] for source in SOURCES) == pytest.approx(truth.mean_kg_ha["total"], rel=1e-5)


def test_sources_have_the_planned_mean() -> None:
    """Over many fields the mean of each source comes out as planned; one field may miss it."""
    plan = dataclasses.replace(SMALL, length_m=150, breadth_m=90, stops=2, header=Source(80, 0.3, 20), threshing=Source(18, 0.2, 20))
    means = np.mean([[made.truth.mean_kg_ha[source] for source in SOURCES] for made in (make(plan, seed) for seed in range(30))], axis=0)
    np.testing.assert_allclose(means, [12, 80, 18], rtol=0.1)


@pytest.mark.parametrize(("speed_effect", "dryness_effect"), [(1.49, 1.0), (1.0, 1.65), (2.22, 2.72)])
def test_effects_are_hinges_of_the_planted_height(speed_effect: float, dryness_effect: float) -> None:
    """Header loss over that of the same field without effects is the planted factor in every cell, and 1 on the free side."""
    plan = dataclasses.replace(SMALL, speed_effect=speed_effect, dryness_effect=dryness_effect)
    with_effect, without = make(plan, 6).truth, make(SMALL, 6).truth
    speed, moisture = (with_effect.surfaces[name].mean for name in ("speed_m_s", "moisture_pct"))
    expected = speed_effect ** (np.maximum(speed - 2.0, 0) / 0.5) * dryness_effect ** (np.maximum(13.0 - moisture, 0) / 2)
    found = with_effect.surfaces["header_kg_ha"].mean / without.surfaces["header_kg_ha"].mean
    np.testing.assert_allclose(found, expected, rtol=1e-4)
    for source in ("preharvest", "threshing"):
        np.testing.assert_array_equal(with_effect.surfaces[f"{source}_kg_ha"].mean, without.surfaces[f"{source}_kg_ha"].mean)


def test_shares_are_what_would_not_be_lost_at_the_knot() -> None:
    """With one effect only, its share is the difference to the field without it; the other's is 0."""
    fast = make(dataclasses.replace(SMALL, speed_effect=2.22), 6).truth
    none = make(SMALL, 6).truth
    assert fast.share_kg_ha["speed"] == pytest.approx(fast.mean_kg_ha["total"] - none.mean_kg_ha["total"], rel=1e-4)
    assert fast.share_kg_ha["dryness"] == 0 == none.share_kg_ha["speed"]


def test_effects_may_act_in_a_part_of_the_field() -> None:
    """`effect_area` is the share of cells where the effects act, and elsewhere nothing changes."""
    part = make(dataclasses.replace(SMALL, speed_effect=2.22, effect_area=0.4), 6).truth
    none = make(SMALL, 6).truth
    inside = np.isfinite(none.surfaces["total_kg_ha"].mean)
    assert part.acts.sum() / inside.sum() == pytest.approx(0.4, abs=0.01)
    calm = inside & ~part.acts
    np.testing.assert_array_equal(part.surfaces["total_kg_ha"].mean[calm], none.surfaces["total_kg_ha"].mean[calm])
