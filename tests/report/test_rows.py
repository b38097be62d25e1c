"""Stops and zones in words."""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.field import FieldMap
from lossmap.report.numbers import words_of
from lossmap.report.rows import letter_at, stop_rows, zone_code, zone_rows


def test_a_stop_says_what_was_counted_and_what_follows(field_map: FieldMap) -> None:
    """Seeds by position with the frame's area; a source that cannot be separated is not known."""
    rows = stop_rows(field_map, words_of(field_map))
    assert rows[0]["counted"] == "3 before the header, 14 behind the header, 22 behind the combine, each on 10 sq ft"
    assert rows[11]["counted"] == "3 before the header, 22 behind the combine, each on 10 sq ft"
    assert rows[11]["header"] == "not known"
    assert rows[11]["note"] == "no frame behind the header, sources not separated"


def test_frames_of_different_size_are_told_apart(field_map: FieldMap) -> None:
    """Each position with its own area; weighed seed may be a fraction."""
    losses = field_map.losses.copy()
    losses.loc[0, "frame_m2_before_header"] = 0.0929
    losses.loc[0, "seeds_behind_combine"] = 1234.56
    counted = stop_rows(dataclasses.replace(field_map, losses=losses), words_of(field_map))[0]["counted"]
    assert counted == "3 before the header on 1.0 sq ft, 14 behind the header on 10 sq ft, 1,234.6 behind the combine on 10 sq ft"


def test_a_zone_says_how_it_was_cut(field_map: FieldMap) -> None:
    """The mean speed is that of the surface inside the zone."""
    rows = zone_rows(field_map, words_of(field_map))
    assert [(row["letter"], row["why"], row["head"]) for row in rows] == [
        ("A", "speed", "A: faster, 3.5 ac"),
        ("B", "dryness", "B: drier, 3.3 ac"),
    ]
    assert rows[0]["text"].startswith("Cut at 5.5 mph on average.")
    assert rows[1]["text"].startswith("Cut at 14.")


def test_only_our_codes_reach_the_map(hostile: str) -> None:
    """Whatever a table holds, the map's class is one of three."""
    assert [zone_code(reason) for reason in ("speed", "dryness", hostile, 7, None)] == ["speed", "dryness", "other", "other", "other"]


@given(st.integers(0, 30), st.integers(0, 2**32 - 1))
def test_a_letter_stands_in_its_zone(number: int, rng_seed: int) -> None:
    """Law: whatever the zone's shape, its letter lies inside its largest part."""
    spots = np.random.default_rng(rng_seed).uniform(0, 400, (6, 2))
    zone = shapely.union_all([shapely.buffer(shapely.LineString(spots[:3]), 4), shapely.buffer(shapely.Point(spots[4]), 9)])
    largest = max(shapely.get_parts(zone), key=shapely.area)
    assert shapely.distance(largest, shapely.Point(letter_at(zone, number))) < 1e-6


def test_letters_of_strips_side_by_side_do_not_hide_each_other() -> None:
    """Three equal strips have their letters on three heights."""
    strips = [shapely.box(10 * place, 0, 10 * place + 6, 300) for place in range(3)]
    assert [letter_at(strip, number)[1] for number, strip in enumerate(strips)] == [150.0, 90.0, 210.0]
