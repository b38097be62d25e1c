"""Losses at stops: published arithmetic, honest intervals, nothing invented."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossmap.base import reference
from lossmap.base.errors import TableError, TooLittleData
from lossmap.base.field import Field, FieldFacts
from lossmap.base.settings import LossSettings
from lossmap.base.tables import POSITIONS, SOURCES
from lossmap.loss import losses, seed_mass_g

FT2_M2 = 0.3048**2
NAMES = (*SOURCES, "total")


def field_of(crop="soybean", discharge=None, mass="155.6 g"):
    """A made field with a 24 ft header."""
    facts = FieldFacts(name="made", crop=crop, header_width="24 ft", discharge_width=discharge, thousand_seed_mass=mass)
    return Field(Path("made"), facts, reference.crop(crop))


def counts_of(rows, crs=32615):
    """COUNTS from rows of (stop, position, seeds, frames) and further columns by name."""
    usual = {
        "seeds": np.nan,
        "grams": np.nan,
        "ears": np.nan,
        "grams_per_ear": np.nan,
        "frames": 1.0,
        "note": "",
        "east": 0.0,
        "north": 0.0,
    }
    frame = pd.DataFrame([{**usual, **row} for row in rows])
    frame["frame_m2"] = frame["frame_m2"] if "frame_m2" in frame else FT2_M2 * frame["frames"]
    numbers = ["seeds", "grams", "ears", "grams_per_ear", "frame_m2", "frames"]
    place = gpd.points_from_xy(frame.pop("east"), frame.pop("north"))
    return gpd.GeoDataFrame(frame.astype(dict.fromkeys(numbers, float)), geometry=place, crs=crs)


def three(stop, before, front, behind, frames=1, **more):
    """Rows of one stop with all three positions."""
    return [
        {"stop_id": stop, "position": position, "seeds": seeds, "frames": frames, **more}
        for position, seeds in zip(POSITIONS, (before, front, behind), strict=True)
    ]


def simulated(rng, stops, frames=4, ratio=1.0, positions=POSITIONS, means=(0.5, 3.0, 1.0), differ=0.45, size=4.0):
    """Counts at places whose losses differ log-normally, clumped; and the true seeds a frame, ``[stop, source]``."""
    true = np.array(means) * np.exp(differ * rng.normal(size=(stops, 3)) - differ**2 / 2)
    lying = np.column_stack([true[:, 0], true[:, 0] + true[:, 1], true[:, 0] + true[:, 1] + ratio * true[:, 2]])
    seeds = rng.poisson(lying[:, :, None] * rng.gamma(size, 1 / size, (stops, 3, frames))).sum(axis=2)
    where = rng.uniform(0, 600, (stops, 2))
    rows = [
        {
            "stop_id": f"s{stop}",
            "position": position,
            "seeds": seeds[stop, place],
            "frames": frames,
            "east": where[stop, 0],
            "north": where[stop, 1],
        }
        for stop in range(stops)
        for place, position in enumerate(POSITIONS)
        if position in positions
    ]
    return counts_of(rows), true


def kg_ha(seeds_ft2, mass_g=155.6):
    """Loss of seeds on a square foot."""
    return seeds_ft2 / FT2_M2 * mass_g / 100


def within(found, name, truth):
    """Where the interval holds the truth."""
    return (found[f"{name}_low_kg_ha"] <= truth) & (truth <= found[f"{name}_high_kg_ha"])


def test_worked_example_of_a_windrow():
    """20 in front and 100 behind, 24 ft into 4 ft: 13.3 seeds a square foot by the machine, 33.3 in all (D21, D22)."""
    found = losses(counts_of(three("a", 0, 20, 100)), field_of(discharge="4 ft"), LossSettings(), 1).iloc[0]
    assert found["threshing_kg_ha"] == pytest.approx(kg_ha(80 / 6))
    assert found["total_kg_ha"] == pytest.approx(kg_ha(20 + 80 / 6))
    assert found["header_kg_ha"] == pytest.approx(kg_ha(20))


def test_values_are_what_was_counted():
    """Residue over the whole header: differences one after the other, the total what lies behind."""
    found = losses(counts_of(three("a", 1, 5, 12, frames=4)), field_of(), LossSettings(), 1).iloc[0]
    assert [found[f"{name}_kg_ha"] for name in NAMES] == pytest.approx([kg_ha(part / 4) for part in (1, 4, 7, 12)])


@pytest.mark.parametrize("ratio", [1.0, 6.0])
def test_intervals_hold_the_truth(ratio):
    """Over 200 stops 90 % intervals hold the truth of each source at least 85 times in 100, of the total at most 98."""
    counts, true = simulated(np.random.default_rng(5), 200, ratio=ratio)
    found = losses(counts, field_of(discharge=f"{24 / ratio} ft"), LossSettings(seed_mass_doubt="0 %"), 1)
    truth = dict(zip(NAMES, kg_ha(np.column_stack([true, true.sum(axis=1)])).T, strict=True))
    for name in NAMES:
        assert within(found, name, truth[name]).mean() >= 0.85, name
    assert within(found, "total", truth["total"]).mean() <= 0.98


@given(
    st.lists(st.tuples(*[st.integers(0, 60)] * 3, st.integers(1, 10)), min_size=1, max_size=6), st.sampled_from(["24 ft", "5 ft", "30 ft"])
)
@settings(max_examples=25, deadline=None)
def test_low_value_high_in_order(stops, discharge):
    """Whatever was counted: 0 <= low <= value <= high."""
    rows = [row for index, (*seeds, frames) in enumerate(stops) for row in three(f"s{index}", *seeds, frames=frames)]
    found = losses(counts_of(rows), field_of(discharge=discharge), LossSettings(), 1)
    for name in NAMES:
        low, value, high = (found[f"{name}_{end}kg_ha"] for end in ("low_", "", "high_"))
        assert ((low >= 0) & (low <= value) & (value <= high)).all()


def test_what_the_count_model_needs_stands_in_the_table():
    """Seeds, areas, how residue is concentrated, what was weighed, and ears with their mass."""
    rows = [*three("a", 1, 5, 12, frames=4), {"stop_id": "b", "position": "behind_combine", "grams": 15.56}]
    found = losses(counts_of(rows), field_of(discharge="4 ft"), LossSettings(), 1)
    assert found["concentration"].tolist() == pytest.approx([6.0, 6.0])
    assert found["weighed"].tolist() == pytest.approx([0.0, 1.0])
    assert found["frame_m2_behind_combine"].iloc[0] == pytest.approx(4 * FT2_M2)
    assert not any(name.startswith("ear") for name in found)
    ears = [{"frame_m2": 40.0, **row} for row in (*three("a", 0, 0, 0), {"stop_id": "a", "position": "behind_combine", "ears": 2})]
    found = losses(counts_of(ears), field_of("corn"), LossSettings(), 1).iloc[0]
    assert (found["ears_behind_combine"], found["ear_m2_behind_combine"], found["ear_g"], found["ear_doubt"]) == (2, 40.0, 159.0, 0.3)


def test_permuted_rows_change_nothing():
    """The order of rows and of stops leaves each stop's losses as they are."""
    counts, _ = simulated(np.random.default_rng(1), 12)
    mixed = counts.sample(frac=1, random_state=3)
    one, other = (losses(frame, field_of(), LossSettings(), 1).set_index("stop_id").sort_index() for frame in (counts, mixed))
    pd.testing.assert_frame_equal(one.drop(columns="geometry"), other.drop(columns="geometry"))


def test_more_frames_never_widen_the_doubt():
    """Four times the frames with four times the seeds: every interval is narrower."""
    few, more = (
        [row for stop in range(5) for row in three(f"s{stop}", frames, 5 * frames, 9 * frames, frames=frames)] for frames in (1, 4)
    )
    spans = []
    for rows in (few, more):
        found = losses(counts_of(rows), field_of(), LossSettings(), 1)
        spans.append(np.column_stack([found[f"{name}_high_kg_ha"] - found[f"{name}_low_kg_ha"] for name in NAMES]))
    assert (spans[1] < spans[0]).all()


def test_repeated_rows_are_added():
    """Two rows of a stop and position are one count over both frames."""
    once = losses(counts_of(three("a", 2, 6, 10, frames=2)), field_of(), LossSettings(), 1).iloc[0]
    twice = losses(counts_of([*three("a", 1, 3, 5), *three("a", 1, 3, 5)]), field_of(), LossSettings(), 1).iloc[0]
    assert twice["seeds_behind_combine"] == 10
    assert twice["total_kg_ha"] == pytest.approx(once["total_kg_ha"])


@pytest.mark.parametrize(
    ("positions", "known"),
    [
        (("before_header",), {"preharvest"}),
        (("behind_header",), set()),
        (("behind_combine",), {"total"}),
        (("before_header", "behind_header"), {"preharvest", "header"}),
        (("before_header", "behind_combine"), {"preharvest", "total"}),
        (("behind_header", "behind_combine"), {"threshing", "total"}),
        (POSITIONS, set(NAMES)),
    ],
)
def test_what_cannot_be_separated_is_not_invented(positions, known):
    """Each set of positions tells the sources it can, and says which it cannot."""
    counts, _ = simulated(np.random.default_rng(2), 8, positions=positions)
    found = losses(counts, field_of(), LossSettings(), 1)
    assert {name for name in NAMES if found[f"{name}_kg_ha"].notna().all()} == known
    assert {name for name in NAMES if found[f"{name}_high_kg_ha"].notna().all()} == known
    assert all(("cannot be told" in note) == (len(known) < 4) for note in found["note"])


def test_behind_a_narrow_discharge_alone_tells_nothing():
    """A count in a windrow without one in front cannot give the total."""
    counts, _ = simulated(np.random.default_rng(2), 8, positions=("behind_combine",), ratio=6)
    found = losses(counts, field_of(discharge="4 ft"), LossSettings(), 1)
    assert found["total_kg_ha"].isna().all()
    assert found["note"].iloc[0] == "no seeds counted before header nor behind header: preharvest, header, threshing, total cannot be told"


def test_negative_difference_is_said():
    """Fewer seeds behind the header than before it: the posterior's mean, small and above 0, and the note says so."""
    found = losses(counts_of(three("a", 9, 4, 12, note="wind")), field_of(), LossSettings(), 1).iloc[0]
    assert 0 < found["header_kg_ha"] < found["total_kg_ha"] / 3
    assert found["header_low_kg_ha"] < found["header_kg_ha"] < found["header_high_kg_ha"]
    assert found["note"] == "wind; header loss came out below 0: its posterior mean is given, and the parts make more than the total"
    assert found["preharvest_kg_ha"] + found["header_kg_ha"] + found["threshing_kg_ha"] > found["total_kg_ha"]


def test_a_list_that_follows_itself_is_refused():
    """Pasted twice it would halve the doubt for nothing; frames of one stop that count alike are no copy."""
    rows = [row for number in range(4) for row in three(f"s{number}", number, 9 + number, 20 + number)]
    with pytest.raises(TableError, match=r"all 12 counts stand there twice \(stop s0 and all others\); leave out the copy"):
        losses(counts_of([*rows, *rows]), field_of(), LossSettings(), 1)
    losses(counts_of([row for pair in zip(rows, rows, strict=True) for row in pair]), field_of(), LossSettings(), 1)
    losses(counts_of([*rows, *rows[:-1]]), field_of(), LossSettings(), 1)
    losses(counts_of([*three("a", 0, 1, 2), *three("a", 0, 1, 2)]), field_of(), LossSettings(), 1)


def test_ears_add_to_kernels():
    """Kernels in frames and ears on 1/100 acre add up, each with its own area (corn, D26)."""
    ear = {"grams_per_ear": 0.35 * 453.59237, "frame_m2": 40.468564224}
    rows = [{**row, "frame_m2": FT2_M2} for row in three("a", 0, 4, 5)]
    rows += [
        {"stop_id": "a", "position": "before_header", "ears": 0, **ear},
        {"stop_id": "a", "position": "behind_header", "ears": 1, **ear},
    ]
    found = losses(counts_of(rows), field_of("corn", mass="291.6 g"), LossSettings(), 1).iloc[0]
    one_ear = 0.625 * 62.77
    assert found["header_kg_ha"] == pytest.approx(kg_ha(4, 291.6) + one_ear, rel=0.001)
    assert found["total_kg_ha"] == pytest.approx(kg_ha(5, 291.6) + one_ear, rel=0.001)
    assert found["threshing_kg_ha"] == pytest.approx(kg_ha(1, 291.6))
    assert found["ears_behind_header"] == 1


def test_ears_behind_alone_leave_their_source_open():
    """Ears counted only behind the combine are in the total, but dropped and header-lost ones are not told apart."""
    rows = [*three("a", 1, 4, 5), {"stop_id": "a", "position": "behind_combine", "ears": 2, "frame_m2": 40.0}]
    found = losses(counts_of([{"frame_m2": FT2_M2, **row} for row in rows]), field_of("corn"), LossSettings(), 1).iloc[0]
    assert np.isnan(found["preharvest_kg_ha"])
    assert np.isnan(found["header_kg_ha"])
    assert found["threshing_kg_ha"] > 0
    assert found["total_kg_ha"] == pytest.approx(kg_ha(5) + 2 / 40 * 1590)
    assert found["note"] == "ears were not counted at every position: preharvest, header cannot be told"


def test_unweighed_ears_widen_the_doubt():
    """The table's ear has 30 % of doubt, a weighed one has none."""
    spans = []
    for grams in (np.nan, 159.0):
        rows = [{"frame_m2": 40.0, **row} for row in three("a", 0, 0, 0)]
        rows.append({"stop_id": "a", "position": "behind_combine", "ears": 50, "frame_m2": 40.0, "grams_per_ear": grams})
        found = losses(counts_of(rows), field_of("corn"), LossSettings(), 1).iloc[0]
        spans.append(found["total_high_kg_ha"] / found["total_low_kg_ha"])
    assert spans[0] > 1.5 * spans[1]


def test_weighed_seed_counts_as_the_seeds_it_weighs():
    """15.56 g at 155.6 g a thousand are 100 seeds, whose loss does not hang on the seed's mass."""
    rows = [{"stop_id": "a", "position": "behind_combine", "grams": 15.56}]
    exact, vague = (losses(counts_of(rows), field_of(), LossSettings(seed_mass_doubt=doubt), 1).iloc[0] for doubt in ("0 %", "30 %"))
    assert vague["seeds_behind_combine"] == pytest.approx(100)
    assert vague["total_high_kg_ha"] == pytest.approx(exact["total_high_kg_ha"])


def test_seed_mass_with_its_doubt():
    """The owner's mass has the set doubt, the table's its own range."""
    assert seed_mass_g(field_of(mass=None), LossSettings()) == reference.crop("soybean").seed_mass_g
    own = seed_mass_g(field_of(), LossSettings())
    assert np.log(own.high / own.low) == pytest.approx(2 * 1.645 * 0.03, rel=1e-3)


def test_stop_lies_at_its_first_position():
    """A stop stands where its frame before the header lay, whatever the order of rows."""
    rows = three("a", 1, 2, 3)
    for metres, row in enumerate(rows):
        row["east"] = float(metres)
    found = losses(counts_of(rows[::-1]), field_of(), LossSettings(), 1)
    assert found.geometry.x.tolist() == [0.0]


def test_no_rows():
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
def test_refusals(rows, message):
    """What cannot be meant is refused, by stop and with what to do."""
    with pytest.raises(TableError) as refused:
        losses(counts_of(rows), field_of(), LossSettings(), 1)
    assert str(refused.value) == f"made, counts: {message}"


def test_only_ears_tell_nothing_of_seeds():
    """Ears alone, no seeds counted anywhere: nothing is told, and nothing breaks."""
    rows = [{"stop_id": f"s{stop}", "position": position, "ears": 1, "frame_m2": 40.0} for stop in range(3) for position in POSITIONS]
    found = losses(counts_of(rows), field_of("corn"), LossSettings(), 1)
    assert found[[f"{name}_kg_ha" for name in NAMES]].isna().all(axis=None)


def test_clumping_is_seen_in_repeated_rows():
    """Frames written one by one: clumped seed makes wider intervals than seed that lies evenly."""
    spans = []
    for size in (1.0, 1000.0):
        rng = np.random.default_rng(4)
        seeds = rng.poisson(6 * rng.gamma(size, 1 / size, (20, 4)))
        rows = [
            {"stop_id": f"s{stop}", "position": "behind_combine", "seeds": seeds[stop, frame], "east": 30.0 * stop}
            for stop in range(20)
            for frame in range(4)
        ]
        found = losses(counts_of(rows), field_of(), LossSettings(), 1)
        spans.append(np.median(np.log(found["total_high_kg_ha"] / found["total_low_kg_ha"])))
    assert spans[0] > 1.5 * spans[1]
