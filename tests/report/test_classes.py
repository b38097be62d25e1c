"""Edges people can say, and colours that stay apart."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import ramps
from lossmap.report.classes import RAMPS, classes, spans
from lossmap.report.words import Scale

ONE = Scale(1.0, "u", 2, 2)


@given(st.floats(-1e3, 1e3), st.floats(1.0, 1e4), st.integers(0, 2**32 - 1))
def test_five_classes_hold_most_of_a_field_apart(middle: float, width: float, rng_seed: int) -> None:
    """Law: edges rise in equal steps of a sayable number, are printed exactly, and split the field."""
    values = middle + width * np.random.default_rng(rng_seed).random(500)
    found = classes(values, ONE, "loss")
    steps = {round(after - before, 6) for before, after in itertools.pairwise(found.edges)}
    assert len(found.edges) == 4
    assert max(steps) - min(steps) <= 2e-6
    step = found.edges[1] - found.edges[0]
    assert round(step / 10 ** np.floor(np.log10(step * 1.0001)), 6) in (1.0, 2.0, 2.5, 5.0, 10.0)
    assert [float(text.replace(",", "")) for text in found.edge_texts()] == pytest.approx(found.edges)
    shares = np.bincount(found.of(values), minlength=5) / values.size
    assert (shares > 0).sum() >= 3
    assert shares.max() < 0.6


def test_one_value_everywhere_is_one_class() -> None:
    """A field mean is not spread over colours that mean nothing."""
    found = classes(np.full((3, 4), 118.0), ONE, "loss")
    assert (found.edges, len(found.colours), found.texts()) == ((), 1, ("everywhere the same",))
    assert classes(np.full((2, 2), np.nan), ONE, "loss").edges == ()


def test_a_loss_never_gets_a_class_below_nothing() -> None:
    """The first edge of a positive layer is above 0."""
    values = np.concatenate([np.full(80, 0.01), np.linspace(0.0, 3.0, 40)])
    assert classes(values, ONE, "loss").edges[0] > 0


def test_a_value_on_an_edge_belongs_above_it_and_a_gap_to_none() -> None:
    """The rule of the page's script: a class begins at its edge."""
    found = classes(np.linspace(0.5, 3.0, 100), ONE, "loss")
    assert found.of(np.array([found.edges[0], np.nextafter(found.edges[0], 0), np.nan])).tolist() == [1, 0, 255]
    assert spans(["1", "2"]) == ("under 1", "1 to 2", "2 and more")


def test_ramps_fall_evenly_in_lightness_and_none_is_red_to_green() -> None:
    """Each ramp darkens at every step by at least 9 L*, and keeps to one hue's side: no red end with a green one."""
    for ramp in RAMPS.values():
        lightness = [ramps.lightness(ramps.luminance(colour)) for colour in ramp]
        assert all(before - after > 9 for before, after in itertools.pairwise(lightness))
        greenness = [int(colour[3:5], 16) - int(colour[1:3], 16) for colour in ramp[1:]]
        assert min(greenness) >= -10 or max(greenness) <= 10


@pytest.mark.parametrize("layer", RAMPS)
def test_classes_stay_apart_in_the_sun_and_to_colour_blind_eyes(layer: str) -> None:
    """Truth: steps of 8 L* under glare at the least; the hardest pair 10 apart under each of three blindnesses."""
    assert ramps.step_in_glare(RAMPS[layer]) >= 8
    assert min(ramps.worst_pair(RAMPS[layer], blindness) for blindness in ramps.BLINDNESS) >= 10


def test_a_ladder_from_red_to_green_would_fail() -> None:
    """The measure does tell: the habit of yield maps, red over yellow to green, fails it."""
    ladder = ("#d73027", "#fc8d59", "#fee08b", "#91cf60", "#1a9850")
    assert ramps.worst_pair(ladder, "deuteranopia") < 10
    assert ramps.step_in_glare(ladder) < 8
