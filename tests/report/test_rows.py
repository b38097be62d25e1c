"""Stops and zones in words."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.field import FieldMap
from lossmap.report.numbers import words_of
from lossmap.report.rows import letter_at, stop_rows, stop_table, where_in_field, zone_code, zone_rows


def test_a_stop_says_what_was_counted_and_what_follows(field_map: FieldMap) -> None:
    """Seeds by position with the frame's area; a source that cannot be separated is not known."""
    rows = stop_rows(field_map, words_of(field_map))
    assert rows[0]["counted"] == "3 in front of the header, 14 behind the header, 22 behind the combine, each on 10 sq ft"
    assert rows[11]["counted"] == "3 in front of the header, 22 behind the combine, each on 10 sq ft"
    assert rows[11]["header"] == "not known"
    assert rows[11]["note"] == "no frame behind the header, sources not separated"


def test_frames_of_different_size_are_told_apart(field_map: FieldMap) -> None:
    """Each position with its own area; weighed seed may be a fraction."""
    losses = field_map.losses.copy()
    losses.loc[0, "frame_m2_before_header"] = 0.0929
    losses.loc[0, "seeds_behind_combine"] = 1234.56
    counted = stop_rows(dataclasses.replace(field_map, losses=losses), words_of(field_map))[0]["counted"]
    assert counted == "3 in front of the header on 1.0 sq ft, 14 behind the header on 10 sq ft, 1,234.6 behind the combine on 10 sq ft"


def test_ears_are_told_with_their_own_area(field_map: FieldMap) -> None:
    """Corn: ears on the ground in front of the header are counted on a wider area than the seeds, and nowhere else."""
    losses = field_map.losses.assign(
        ears_before_header=2.0, ear_m2_before_header=40.47, ears_behind_combine=np.nan, ear_m2_behind_combine=0.0
    )
    told = dataclasses.replace(field_map, losses=losses)
    assert stop_rows(told, words_of(field_map))[0]["counted"].endswith("each on 10 sq ft; 2 ears in front of the header on 436 sq ft")
    assert stop_table(told, words_of(field_map))["rows"][0]["cells"][4:7] == ["3; 2 ears on 436", "14", "22"]


def test_a_table_of_stops_holds_its_units_in_the_head_and_each_note_once(field_map: FieldMap) -> None:
    """Numbers as in the popups, blank where nobody counted; two stops with one note share its number."""
    words = words_of(field_map)
    table, told = stop_table(field_map, words), stop_rows(field_map, words)
    assert table["head"][0] == "loss, all sources, bu/ac"
    assert table["head"][4:] == [
        "seeds in front of the header",
        "seeds behind the header",
        "seeds behind the combine",
        "on sq ft",
        "cut at mph",
        "moisture, %",
    ]
    assert all(len(row["cells"]) == len(table["head"]) for row in table["rows"])
    first, last = table["rows"][0], table["rows"][11]
    assert first["cells"][0] == told[0]["total"].replace(" bu/ac", "")
    assert first["cells"][4:8] == ["3", "14", "22", "10"]
    assert f"{first['cells'][8]} mph" == told[0]["speed"]
    assert last["cells"][5] == ""
    assert [row["note"] for row in table["rows"]] == [0] * 10 + [1, 1]
    assert table["notes"] == ["no frame behind the header, sources not separated"]


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (shapely.box(0, 0, 20, 20), "in the south-west"),
        (shapely.box(40, 85, 60, 95), "in the north"),
        (shapely.box(70, 45, 90, 55), "in the east"),
        (shapely.box(45, 45, 55, 55), "in the middle"),
        (shapely.box(5, 5, 95, 95), "over most of the field"),
        (shapely.Polygon([(0, 0), (100, 0), (0, 100)]), "mostly in the south-west"),
        (shapely.MultiPolygon([shapely.box(0, 0, 10, 100), shapely.box(90, 0, 100, 100)]), "in 2 patches all over the field"),
        (shapely.MultiPolygon([shapely.box(70, 0, 75, 50), shapely.box(90, 0, 100, 40)]), "in 2 patches in the south-east"),
    ],
)
def test_where_a_zone_lies_is_said(shape: shapely.Geometry, words: str) -> None:
    """By hand, in a square field: sides beyond the middle sixth, the whole field, and how many patches."""
    assert where_in_field(shape, shapely.box(0, 0, 100, 100)) == words


def test_a_zone_says_how_it_was_cut(field_map: FieldMap) -> None:
    """The mean speed is that of the surface inside the zone."""
    rows = zone_rows(field_map, words_of(field_map))
    assert [(row["letter"], row["why"], row["head"]) for row in rows] == [
        ("A", "speed", "A: faster, 3.5 ac, in the south-west"),
        ("B", "dryness", "B: drier, 3.3 ac, in the north-east"),
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
