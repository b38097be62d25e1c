"""Losses at stops: published arithmetic, honest intervals, nothing invented."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossmap.base import reference
from lossmap.base.settings import LossSettings
from lossmap.base.tables import POSITIONS, SOURCES
from lossmap.loss import losses, seed_mass_g

FT2_M2 = 0.3048**2
NAMES = (*SOURCES, "total")


def kg_ha(seeds_ft2, mass_g=155.6):
    """Loss of seeds on a square foot."""
    return seeds_ft2 / FT2_M2 * mass_g / 100


def within(found, name, truth):
    """Where the interval holds the truth."""
    return (found[f"{name}_low_kg_ha"] <= truth) & (truth <= found[f"{name}_high_kg_ha"])


def test_worked_example_of_a_windrow(field_of, counts_of, three):
    """20 in front and 100 behind, 24 ft into 4 ft: 13.3 seeds a square foot by the machine, 33.3 in all (D21, D22)."""
    found = losses(counts_of(three("a", 0, 20, 100)), field_of(discharge="4 ft"), LossSettings(), 1).iloc[0]
    assert found["threshing_kg_ha"] == pytest.approx(kg_ha(80 / 6))
    assert found["total_kg_ha"] == pytest.approx(kg_ha(20 + 80 / 6))
    assert found["header_kg_ha"] == pytest.approx(kg_ha(20))


def test_values_are_what_was_counted(field_of, counts_of, three):
    """Residue over the whole header: differences one after the other, the total what lies behind."""
    found = losses(counts_of(three("a", 1, 5, 12, frames=4)), field_of(), LossSettings(), 1).iloc[0]
    assert [found[f"{name}_kg_ha"] for name in NAMES] == pytest.approx([kg_ha(part / 4) for part in (1, 4, 7, 12)])


@pytest.mark.parametrize("ratio", [1.0, 6.0])
def test_intervals_hold_the_truth(ratio, field_of, simulated):
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
def test_low_value_high_in_order(field_of, counts_of, three, stops, discharge):
    """Whatever was counted: 0 <= low <= value <= high."""
    rows = [row for index, (*seeds, frames) in enumerate(stops) for row in three(f"s{index}", *seeds, frames=frames)]
    found = losses(counts_of(rows), field_of(discharge=discharge), LossSettings(), 1)
    for name in NAMES:
        low, value, high = (found[f"{name}_{end}kg_ha"] for end in ("low_", "", "high_"))
        assert ((low >= 0) & (low <= value) & (value <= high)).all()


def test_what_the_count_model_needs_stands_in_the_table(field_of, counts_of, three):
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


def test_permuted_rows_change_nothing(field_of, simulated):
    """The order of rows and of stops leaves each stop's losses as they are."""
    counts, _ = simulated(np.random.default_rng(1), 12)
    mixed = counts.sample(frac=1, random_state=3)
    one, other = (losses(frame, field_of(), LossSettings(), 1).set_index("stop_id").sort_index() for frame in (counts, mixed))
    pd.testing.assert_frame_equal(one.drop(columns="geometry"), other.drop(columns="geometry"))


def test_more_frames_never_widen_the_doubt(field_of, counts_of, three):
    """Four times the frames with four times the seeds: every interval is narrower."""
    few, more = (
        [row for stop in range(5) for row in three(f"s{stop}", frames, 5 * frames, 9 * frames, frames=frames)] for frames in (1, 4)
    )
    spans = []
    for rows in (few, more):
        found = losses(counts_of(rows), field_of(), LossSettings(), 1)
        spans.append(np.column_stack([found[f"{name}_high_kg_ha"] - found[f"{name}_low_kg_ha"] for name in NAMES]))
    assert (spans[1] < spans[0]).all()


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
def test_what_cannot_be_separated_is_not_invented(positions, known, field_of, simulated):
    """Each set of positions tells the sources it can, and says which it cannot."""
    counts, _ = simulated(np.random.default_rng(2), 8, positions=positions)
    found = losses(counts, field_of(), LossSettings(), 1)
    assert {name for name in NAMES if found[f"{name}_kg_ha"].notna().all()} == known
    assert {name for name in NAMES if found[f"{name}_high_kg_ha"].notna().all()} == known
    assert all(("cannot be told" in note) == (len(known) < 4) for note in found["note"])


def test_behind_a_narrow_discharge_alone_tells_nothing(field_of, simulated):
    """A count in a windrow without one in front cannot give the total."""
    counts, _ = simulated(np.random.default_rng(2), 8, positions=("behind_combine",), ratio=6)
    found = losses(counts, field_of(discharge="4 ft"), LossSettings(), 1)
    assert found["total_kg_ha"].isna().all()
    assert found["note"].iloc[0] == "no seeds counted before header nor behind header: preharvest, header, threshing, total cannot be told"


def test_negative_difference_is_said(field_of, counts_of, three):
    """Fewer seeds behind the header than before it: the posterior's mean, small and above 0, and the note says so."""
    found = losses(counts_of(three("a", 9, 4, 12, note="wind")), field_of(), LossSettings(), 1).iloc[0]
    assert 0 < found["header_kg_ha"] < found["total_kg_ha"] / 3
    assert found["header_low_kg_ha"] < found["header_kg_ha"] < found["header_high_kg_ha"]
    assert found["note"] == "wind; header loss came out below 0: its posterior mean is given, and the parts make more than the total"
    assert found["preharvest_kg_ha"] + found["header_kg_ha"] + found["threshing_kg_ha"] > found["total_kg_ha"]


def test_ears_add_to_kernels(field_of, counts_of, three):
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


def test_ears_behind_alone_leave_their_source_open(field_of, counts_of, three):
    """Ears counted only behind the combine are in the total, but dropped and header-lost ones are not told apart."""
    rows = [*three("a", 1, 4, 5), {"stop_id": "a", "position": "behind_combine", "ears": 2, "frame_m2": 40.0}]
    found = losses(counts_of([{"frame_m2": FT2_M2, **row} for row in rows]), field_of("corn"), LossSettings(), 1).iloc[0]
    assert np.isnan(found["preharvest_kg_ha"])
    assert np.isnan(found["header_kg_ha"])
    assert found["threshing_kg_ha"] > 0
    assert found["total_kg_ha"] == pytest.approx(kg_ha(5) + 2 / 40 * 1590)
    assert found["note"] == "ears were not counted at every position: preharvest, header cannot be told"


def test_unweighed_ears_widen_the_doubt(field_of, counts_of, three):
    """The table's ear has 30 % of doubt, a weighed one has none."""
    spans = []
    for grams in (np.nan, 159.0):
        rows = [{"frame_m2": 40.0, **row} for row in three("a", 0, 0, 0)]
        rows.append({"stop_id": "a", "position": "behind_combine", "ears": 50, "frame_m2": 40.0, "grams_per_ear": grams})
        found = losses(counts_of(rows), field_of("corn"), LossSettings(), 1).iloc[0]
        spans.append(found["total_high_kg_ha"] / found["total_low_kg_ha"])
    assert spans[0] > 1.5 * spans[1]


def test_weighed_seed_counts_as_the_seeds_it_weighs(field_of, counts_of):
    """15.56 g at 155.6 g a thousand are 100 seeds, whose loss does not hang on the seed's mass."""
    rows = [{"stop_id": "a", "position": "behind_combine", "grams": 15.56}]
    exact, vague = (losses(counts_of(rows), field_of(), LossSettings(seed_mass_doubt=doubt), 1).iloc[0] for doubt in ("0 %", "30 %"))
    assert vague["seeds_behind_combine"] == pytest.approx(100)
    assert vague["total_high_kg_ha"] == pytest.approx(exact["total_high_kg_ha"])


def test_seed_mass_with_its_doubt(field_of):
    """The owner's mass has the set doubt, the table's its own range."""
    assert seed_mass_g(field_of(mass=None), LossSettings()) == reference.crop("soybean").seed_mass_g
    own = seed_mass_g(field_of(), LossSettings())
    assert np.log(own.high / own.low) == pytest.approx(2 * 1.645 * 0.03, rel=1e-3)


def test_only_ears_tell_nothing_of_seeds(field_of, counts_of):
    """Ears alone, no seeds counted anywhere: nothing is told, and nothing breaks."""
    rows = [{"stop_id": f"s{stop}", "position": position, "ears": 1, "frame_m2": 40.0} for stop in range(3) for position in POSITIONS]
    found = losses(counts_of(rows), field_of("corn"), LossSettings(), 1)
    assert found[[f"{name}_kg_ha" for name in NAMES]].isna().all(axis=None)
