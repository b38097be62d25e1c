"""Counts added up, and what is refused."""

import numpy as np
import pytest

from lossmap.base.errors import TableError, TooLittleData
from lossmap.base.settings import LossSettings
from lossmap.loss import losses, seed_mass_g
from lossmap.loss.tally import tally


def added(counts, field):
    """The tally with the usual settings."""
    return tally(counts, field, LossSettings(), seed_mass_g(field, LossSettings()))


def test_ears_behind_are_those_of_either_position(counts_of, field_of):
    """Ears behind header and combine lie alike, so they are one count over both areas; where none were looked for it stays unknown."""
    rows = [
        {"stop_id": "a", "position": "behind_header", "ears": 1, "frame_m2": 40.0},
        {"stop_id": "a", "position": "behind_combine", "ears": 2, "frame_m2": 20.0},
        {"stop_id": "b", "position": "before_header", "ears": 3, "frame_m2": 40.0},
    ]
    found = added(counts_of(rows), field_of("corn"))
    number, area = found.ears_behind()
    assert (number[0], area[0]) == (3, 60.0)
    assert np.isnan([number[1], area[1]]).all()
    assert found.has_ears.all()


def test_an_ear_weighs_what_those_of_its_stop_do_on_average(counts_of, field_of):
    """Two ears at 100 g and one at 160 g are 120 g each; doubt is that of the share that nobody weighed."""
    ear = {"stop_id": "a", "position": "behind_combine", "frame_m2": 40.0}
    weighed = added(counts_of([{**ear, "ears": 2, "grams_per_ear": 100.0}, {**ear, "ears": 1, "grams_per_ear": 160.0}]), field_of("corn"))
    assert weighed.ear_g == pytest.approx([120.0], rel=1e-4)
    assert weighed.ear_doubt == pytest.approx([0.0])
    half = added(counts_of([{**ear, "ears": 1, "grams_per_ear": 100.0}, {**ear, "ears": 1}]), field_of("corn"))
    assert half.ear_doubt == pytest.approx([0.15], rel=1e-4)


def test_weighed_and_counted_seeds_stand_together(counts_of, field_of):
    """50 seeds counted and 7.78 g weighed at 155.6 g a thousand: 100 seeds, half of them weighed; a frame is one of the middle size."""
    row = {"stop_id": "a", "position": "behind_combine"}
    found = added(counts_of([{**row, "seeds": 50, "frames": 4}, {**row, "grams": 7.78, "frames": 4}]), field_of())
    assert found.seeds[0, 2] == pytest.approx(100)
    assert found.weighed == pytest.approx([0.5])
    assert found.frame_m2 == pytest.approx(0.3048**2)


def test_no_rows(field_of, counts_of, three):
    """An empty table is refused with what to do."""
    with pytest.raises(TooLittleData, match=r"made: the counts hold no rows \(0, needs 1\); count at a few stops first"):
        losses(counts_of(three("a", 0, 0, 0)).iloc[:0], field_of(), LossSettings(), 1)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([{"stop_id": "a", "position": "behind_combine"}], "stop a: neither seeds, grams nor ears are given; write 0 where none was found"),
        (
            [{"stop_id": "a", "position": "beside", "seeds": 1}],
            'stop a: "beside" is no position; the positions are before_header, behind_header, behind_combine',
        ),
        (
            [{"stop_id": "a", "position": "behind_combine", "ears": 1}],
            "stop a: ears of soybean have no mass in the crop table; add grams_per_ear",
        ),
        (
            [{"stop_id": "a", "position": "behind_combine", "seeds": 1, "east": east} for east in (0.0, 50.0)],
            "stop a: its frames lie 50 m apart (at most 14 m); give them different stops",
        ),
    ],
)
def test_refusals(rows, message, field_of, counts_of):
    """What cannot be meant is refused, by stop and with what to do."""
    with pytest.raises(TableError) as refused:
        losses(counts_of(rows), field_of(), LossSettings(), 1)
    assert str(refused.value) == f"made, counts: {message}"


def test_repeated_rows_are_added(field_of, counts_of, three):
    """Two rows of a stop and position are one count over both frames."""
    once = losses(counts_of(three("a", 2, 6, 10, frames=2)), field_of(), LossSettings(), 1).iloc[0]
    twice = losses(counts_of([*three("a", 1, 3, 5), *three("a", 1, 3, 5)]), field_of(), LossSettings(), 1).iloc[0]
    assert twice["seeds_behind_combine"] == 10
    assert twice["total_kg_ha"] == pytest.approx(once["total_kg_ha"])


def test_stop_lies_at_its_first_position(field_of, counts_of, three):
    """A stop stands where its frame before the header lay, whatever the order of rows."""
    rows = three("a", 1, 2, 3)
    for metres, row in enumerate(rows):
        row["east"] = float(metres)
    found = losses(counts_of(rows[::-1]), field_of(), LossSettings(), 1)
    assert found.geometry.x.tolist() == [0.0]


def test_a_list_that_follows_itself_is_refused(field_of, counts_of, three):
    """Pasted twice it would halve the doubt for nothing; frames of one stop that count alike are no copy."""
    rows = [row for number in range(4) for row in three(f"s{number}", number, 9 + number, 20 + number)]
    with pytest.raises(TableError, match=r"all 12 counts stand there twice \(stop s0 and all others\); leave out the copy"):
        losses(counts_of([*rows, *rows]), field_of(), LossSettings(), 1)
    losses(counts_of([row for pair in zip(rows, rows, strict=True) for row in pair]), field_of(), LossSettings(), 1)
    losses(counts_of([*rows, *rows[:-1]]), field_of(), LossSettings(), 1)
    losses(counts_of([*three("a", 0, 1, 2), *three("a", 0, 1, 2)]), field_of(), LossSettings(), 1)
