"""The field in numbers."""

from __future__ import annotations

import dataclasses

import numpy as np

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.field import FieldMap
from lossmap.report.numbers import flat_line, grain_line, headline, loss_rows, more_counts, seeds_line, subtitle, words_of
from lossmap.report.unknown import unknown_part


def test_subtitle_says_crop_day_and_area(field_map: FieldMap) -> None:
    """And where the area comes from, when no boundary was given."""
    words = words_of(field_map)
    assert subtitle(field_map, words) == "Corn · cut 18 Oct 2025 · 49.9 ac"
    assert subtitle(dataclasses.replace(field_map, outline_given=False), words).endswith("49.9 ac (the area the log cut)")


def test_headline_has_its_doubt(field_map: FieldMap) -> None:
    """118 kg/ha (88 to 151) of corn."""
    assert headline(field_map, words_of(field_map)) == ("Loss 1.9 bu/ac", "(1.4 to 2.4)")
    bare = dataclasses.replace(field_map, loss=dict.fromkeys(field_map.loss, NOTHING))
    assert headline(bare, words_of(bare)) == ("Loss is not known", "")


def test_rows_are_the_sources_and_their_sum(field_map: FieldMap) -> None:
    """Each with interval, second unit, share of yield and money."""
    rows = loss_rows(field_map, words_of(field_map))
    assert [row.source for row in rows] == ["preharvest loss", "header loss", "threshing loss", "all sources"]
    assert (rows[1].loss, rows[1].other, rows[1].share) == ("1.1 bu/ac (0.8 to 1.5)", "71 kg/ha (48 to 97)", "0.6 % (0.4 to 0.9)")
    assert rows[3].money == "7.90 USD/ac (5.89 to 10.10)"


def test_grain_of_the_whole_field_by_hand(field_map: FieldMap) -> None:
    """118 kg/ha on 20.2 ha is 2,383 kg, 93.8 bushels of 25.4 kg; nothing where no loss is known."""
    assert grain_line(field_map, words_of(field_map)) == "Over its 49.9 ac that is 94 bu (70 to 120) of grain."
    bare = dataclasses.replace(field_map, loss=dict.fromkeys(field_map.loss, NOTHING))
    assert grain_line(bare, words_of(bare)) == ""


def test_seeds_on_the_ground_by_hand(field_map: FieldMap) -> None:
    """118 kg/ha is 11.8 g/m2; at 0.290 g a seed 40.7 seeds/m2, 3.78 a square foot."""
    assert seeds_line(field_map, words_of(field_map)).startswith("On the ground that is 3.8 seeds a square foot (2.8 to 4.8)")


def test_what_a_seeds_mass_leaves_in_doubt_is_said_where_it_leaves_any(field_map: FieldMap) -> None:
    """Counting alone is named where it is surer than the whole, and not where both read the same."""
    words, total = words_of(field_map), field_map.loss["total"]
    surer = dataclasses.replace(field_map, loss_by_counting=Estimate(total.mean, total.mean * 0.95, total.mean * 1.05))
    assert "Were the mass of a seed known, counting alone would leave" in seeds_line(surer, words)
    assert "counting alone" not in seeds_line(dataclasses.replace(field_map, loss_by_counting=total), words)


def test_a_field_mean_is_called_one(field_map: FieldMap) -> None:
    """Flat surface: said, with the surface's own note; a real map: nothing to say; no counts: said."""
    loss = field_map.surfaces["loss_kg_ha"]
    flat = dataclasses.replace(loss, mean=np.full(loss.grid.shape, 118, dtype=np.float32), note="fewer than 8 stops")
    assert flat_line(dataclasses.replace(field_map, surfaces={"loss_kg_ha": flat})) == (
        "Field mean only: with 12 stops the counts cannot say where in the field loss is higher or lower (fewer than 8 stops). "
        "The map of loss shows one value everywhere."
    )
    assert flat_line(field_map) == ""
    assert "nothing was counted" in flat_line(dataclasses.replace(field_map, surfaces={}, losses=field_map.losses.iloc[:0]))


def test_more_counts_are_asked_for_where_they_settle_something(field_map: FieldMap) -> None:
    """Open verdicts and places far from any stop are named; with verdicts and intervals that hold, nothing is asked for."""

    def asked(of: FieldMap) -> str:
        return more_counts(of, unknown_part(of))

    speed = dataclasses.replace(field_map.drivers["speed"], verdict="not enough counts")
    opened = dataclasses.replace(field_map, drivers={**field_map.drivers, "speed": speed})
    told = "lossmap stops plans where the next ones tell most."
    assert asked(opened) == f"More counts would settle what is open (ground speed, places not counted): {told}"
    assert asked(field_map) == f"More counts would settle what is open (places not counted): {told}"
    loss = field_map.surfaces["loss_kg_ha"]
    sure = dataclasses.replace(loss, low=loss.mean * np.float32(0.8), high=loss.mean * np.float32(1.2))
    assert asked(dataclasses.replace(field_map, surfaces={"loss_kg_ha": sure})) == ""
    untold = dataclasses.replace(speed, stops=0, note="the log has no ground speed")
    assert "speed" not in asked(dataclasses.replace(field_map, drivers={"speed": untold}))
