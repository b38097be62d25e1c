"""The layers of the map."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from lossmap.base.field import FieldMap
from lossmap.report.map.layers import layers_of
from lossmap.report.numbers import words_of
from lossmap.report.projection import web_place


def test_layers_come_in_order_with_unit_and_whole_shares(field_map: FieldMap) -> None:
    """Five layers, their unit in the title, classes that add up to the field."""
    drawn = layers_of(field_map, web_place(field_map.outline, field_map.crs), words_of(field_map))
    assert drawn is not None
    assert [layer.title for layer in drawn.layers] == [
        "Loss, bu/ac",
        "How sure: give or take, bu/ac",
        "Yield, bu/ac",
        "Moisture, %",
        "Speed, mph",
    ]
    assert all(sum(layer.shares) == pytest.approx(100) for layer in drawn.layers)
    assert drawn.layers[0].other[0].endswith("kg/ha")
    assert drawn.layers[3].other == ()


def test_give_or_take_is_half_the_interval(field_map: FieldMap) -> None:
    """'How sure' shows (high - low) / 2."""
    drawn = layers_of(field_map, web_place(field_map.outline, field_map.crs), words_of(field_map))
    assert drawn is not None
    loss = field_map.surfaces["loss_kg_ha"]
    inside = np.isfinite(loss.mean)
    shown = drawn.layers[1]
    half = ((loss.high - loss.low) / 2)[inside]
    assert np.abs(shown.steps.values()[inside] - half).max() * shown.scale.factor <= 0.501 * 10**-shown.places


def test_no_class_tells_apart_what_is_as_sure(field_map: FieldMap) -> None:
    """Truth: doubt that differs by a twentieth is one class of 'How sure'; doubt that doubles is several."""
    place, words = web_place(field_map.outline, field_map.crs), words_of(field_map)
    loss = field_map.surfaces["loss_kg_ha"]
    rising = np.linspace(0, 1, loss.mean.size).reshape(loss.mean.shape).astype(np.float32)
    for more, least, most in ((0.05, 1, 2), (1.0, 4, 5)):
        wider = dataclasses.replace(loss, low=loss.mean * 0 + 50, high=loss.mean * 0 + 150 * (1 + more * rising))
        drawn = layers_of(dataclasses.replace(field_map, surfaces={**field_map.surfaces, "loss_kg_ha": wider}), place, words)
        assert drawn is not None
        assert least <= np.count_nonzero(drawn.layers[1].shares) <= most


def test_what_is_read_and_what_is_seen_are_the_surfaces_own(field_map: FieldMap) -> None:
    """Truth: in every cell of every layer the packed value prints and is classed as the surface's value."""
    drawn = layers_of(field_map, web_place(field_map.outline, field_map.crs), words_of(field_map))
    assert drawn is not None
    for layer, surface in zip(drawn.layers, ("loss_kg_ha", None, "yield_kg_ha", "moisture_pct", "speed_m_s"), strict=True):
        if surface is None:
            continue
        mean = field_map.surfaces[surface].mean
        inside = np.isfinite(mean)
        true, read = (part[inside].astype(float) * layer.scale.factor for part in (mean, layer.steps.values()))
        assert (np.round(read, layer.places) == np.round(true, layer.places)).all()
        assert (layer.classes.of(read) == layer.classes.of(true)).all()


def test_a_missing_surface_is_no_layer(field_map: FieldMap) -> None:
    """Without moisture there is no moisture to choose; without any surface no layers."""
    place, words = web_place(field_map.outline, field_map.crs), words_of(field_map)
    surfaces = {name: surface for name, surface in field_map.surfaces.items() if name != "moisture_pct"}
    drawn = layers_of(dataclasses.replace(field_map, surfaces=surfaces), place, words)
    assert drawn is not None
    assert [layer.key for layer in drawn.layers] == ["loss", "sure", "yield", "speed"]
    assert layers_of(dataclasses.replace(field_map, surfaces={}), place, words) is None
