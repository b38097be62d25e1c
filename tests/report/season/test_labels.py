"""Labels of fields on a drawing."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.base import reference
from lossmap.report.season.labels import FIRST, NAMED, NORTH, TEXT, labels
from lossmap.report.season.map import season_map
from lossmap.report.words import Words
from report.made_seasons import made_season


def drawn(season):
    """The parts of a made season's map."""
    fields = season.fields
    words = Words(reference.crop("corn"), "us")
    return season_map(fields.geometry, list(fields["name"]), np.zeros(len(fields), np.uint8), words)


def boxes(part):
    """Of the labels ``[label, (left, top, right, bottom)]``, no narrower than the letters are."""
    return np.array([(label.x, label.y - 0.8 * TEXT, label.x + 0.5 * TEXT * len(label.text), label.y) for label in part.labels])


@pytest.mark.parametrize(("fields", "spread_km"), [(14, 6.0), (40, 20.0), (300, 60.0), (2000, 200.0)])
def test_no_label_covers_another_or_leaves_the_drawing(fields, spread_km):
    """Law: labels lie apart, inside, clear of north mark and scale bar; those without room are counted."""
    for part in drawn(made_season(fields, 3, spread_km=spread_km)):
        found = boxes(part)
        assert len(found) + part.unlabelled == (len(part.frames) or part.fields)
        assert (found >= -1).all()
        assert (found[:, 2] <= part.width).all()
        assert (found[:, 3] <= part.height).all()
        assert not ((found[:, 2] > part.width - NORTH) & (found[:, 1] < 80)).any()
        for at, one in enumerate(found):
            others = np.delete(found, at, axis=0)
            over = (others[:, 0] < one[2]) & (one[0] < others[:, 2]) & (others[:, 1] < one[3]) & (one[1] < others[:, 3])
            assert not over.any(), part.labels[at]


def placed(number, at, size=(600.0, 400.0), half=4.0):
    """Labels of `number` fields of the same size, at `at`."""
    middles = np.asarray(at, dtype=float)
    boxes = np.hstack([middles - half, middles + half])
    return labels([(str(one + 1), f"Field {one}") for one in range(number)], middles, boxes, size)


def test_the_first_gets_its_name_and_the_next_what_is_left():
    """A lone field has number and name; of two at one place the second has to go elsewhere."""
    assert [one.text for one in placed(1, [(200, 200)])] == ["1 Field 0"]
    first, second = placed(2, [(200, 200), (200, 201)])
    assert first.text == "1 Field 0"
    assert (second.x, second.y) != (first.x, first.y)


def test_a_name_stands_inside_a_field_that_holds_it():
    """In the middle of a large one, beside a small one."""
    (inside,) = placed(1, [(300, 200)], half=90.0)
    assert 210 < inside.x < 390
    assert 190 < inside.y < 215
    (beside,) = placed(1, [(300, 200)])
    assert beside.y > 204


def test_a_crowd_has_numbers_only_and_covers_nobody_for_the_last():
    """Beyond so many fields no names; in a block without gaps only the first are labelled at all costs."""
    spots = [(20 + 9.0 * (one % 12), 20 + 9.0 * (one // 12)) for one in range(144)]
    found = placed(144, spots)
    assert all(one.text.isdigit() for one in found)
    assert len(found) < 144
    within = [one for one in found if 20 < one.x < 100 and 35 < one.y < 120]
    assert all(int(one.text) <= FIRST for one in within)
    assert NAMED < 144


def test_a_long_name_is_cut():
    """To what a drawing holds, and said to be cut."""
    (one,) = labels(
        [("1", "A field with a name that nobody would write on a gate")],
        np.array([(300.0, 200.0)]),
        np.array([[290.0, 190, 310, 210]]),
        (600.0, 400.0),
    )
    assert one.text.endswith("…")
    assert len(one.text) <= 24


def test_no_room_is_no_label():
    """In a drawing smaller than any label."""
    assert placed(1, [(10, 10)], size=(20.0, 20.0)) == ()
