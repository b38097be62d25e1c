"""What counts leave in doubt: how much a stop's counts tell, and what a planner is handed after a round."""

from __future__ import annotations

import dataclasses
from contextlib import nullcontext

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base.settings import Settings, overridden
from lossmap.pipelines.map_field import made_map
from lossmap.read import read_field
from lossmap.surfaces.doubts import DRAWS, StopCounts, left_in_doubt
from lossmap.surfaces.lattice import INTERCEPT_SD, LATTICE, ROUGH, SD, SLOPE_SD
from lossmap.synthetic import FieldPlan, make, write


@given(rng_seed=st.integers(0, 2**32 - 1), sd=st.floats(0.1, 0.9))
def test_a_stop_tells_what_its_counts_tell(rng_seed, sd):
    """One number about one process amounts to all counts of the middle stop, as the whole algebra of their parts has it."""
    rng = np.random.default_rng(rng_seed)
    sees = rng.dirichlet(np.ones(3), 4)
    share, information = rng.dirichlet(np.ones(3)), rng.uniform(0.5, 40, 4)
    told = StopCounts(np.array([0, 0, 0, 0]), sees, information, share)
    seen = np.linalg.inv(sd**2 * sees @ sees.T + np.diag(1 / information))
    own_sd, precision = told.of_slopes(sd)
    assert own_sd**2 + 1 / precision[0] == pytest.approx(1 / seen.sum())
    total_sd, precision = told.of_total(sd)
    with_total = sd**2 * sees @ share
    assert total_sd**2 == pytest.approx(sd**2 * share @ share)
    assert 1 / (1 / total_sd**2 + precision[0]) == pytest.approx(total_sd**2 - with_total @ seen @ with_total)


def test_counts_of_one_part_add_up():
    """Where only the total was counted its process is the part's, and a stop's precision the sum of its counts'."""
    told = StopCounts(np.array([0, 1, 1]), np.ones((3, 1)), np.array([2.0, 3.0, 4.0]), np.ones(1))
    for sd, precision in (told.of_slopes(0.5), told.of_total(0.5)):
        assert sd == pytest.approx(0.5)
        assert precision == pytest.approx([2.0, 7.0])
    assert told.more(3).of_total(0.5)[1] == pytest.approx([6.0, 21.0])


@given(rng_seed=st.integers(0, 2**32 - 1), times=st.floats(1, 20))
def test_more_ground_tells_more(rng_seed, times):
    """Of slopes and of the total, whatever a stop's counts see, and never more than all they hold."""
    rng = np.random.default_rng(rng_seed)
    told = StopCounts(np.zeros(4, dtype=int), rng.dirichlet(np.ones(3), 4), rng.uniform(0.5, 40, 4), rng.dirichlet(np.ones(3)))
    wider = told.more(times)
    assert wider.of_total(0.4)[1][0] >= told.of_total(0.4)[1][0] * (1 - 1e-9)
    (sd, precision), (wider_sd, wider_precision) = told.of_slopes(0.4), wider.of_slopes(0.4)
    assert wider_sd**2 + 1 / wider_precision[0] <= (sd**2 + 1 / precision[0]) * (1 + 1e-9)
    assert precision[0] <= told.information.sum() * (1 + 1e-9)


PLACES_M = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 400.0], [0.0, 400.0]])
DRIVEN = {"speed": np.array([1.0, 2.0, 3.0, np.nan]), "dryness": np.array([12.0, 13.0, 14.0, 15.0])}
WANTED = {"speed": 0.25, "dryness": 0.08}


@pytest.fixture(scope="module")
def field_map(tmp_path_factory):
    """A made field of 12 stops, counted at three positions, and its map."""
    folder = tmp_path_factory.mktemp("fields") / "creek"
    write(make(FieldPlan(stops=12, length_m=300, breadth_m=200), 5), folder)
    return made_map(read_field(folder), Settings(), lambda name: nullcontext())


def test_the_map_is_in_doubt_as_its_own_counts_have_it(field_map):
    """Sd and range are those the map's model learned, sd that of a total of parts; precision is one a stop, where it was counted."""
    doubt, among = left_in_doubt(field_map, PLACES_M, DRIVEN, 1.0, WANTED)
    assert doubt.range_m == field_map.typical.range_m
    assert 0.5 * field_map.typical.sd < doubt.sd <= field_map.typical.sd
    assert doubt.level_sd == INTERCEPT_SD
    assert doubt.precision.shape == (12,)
    assert (doubt.precision > 0).all()
    assert np.allclose(doubt.places_m, np.column_stack([field_map.losses.geometry.x, field_map.losses.geometry.y]))
    assert {round(each.range_m / 501.0, 6) for each in among} <= {0.5**step for step in range(1, 7)} | {round(0.5**6, 6), round(0.5**5, 6)}


def test_drivers_are_as_the_map_says(field_map):
    """Knot, prior, what is wanted and whether a verdict is open; a stop without a speed of its own has the nearest ground's."""
    column = field_map.losses["speed_m_s"].to_numpy().copy()
    column[3] = np.nan
    losses = field_map.losses.assign(speed_m_s=column)
    speed, dryness = left_in_doubt(dataclasses.replace(field_map, losses=losses), PLACES_M, DRIVEN, 1.0, WANTED)[0].drivers
    assert (speed.name, dryness.name) == ("speed", "dryness")
    assert (speed.prior_sd, speed.wanted_sd) == (SLOPE_SD["speed"], 0.25)
    assert speed.hinge.knot == field_map.drivers["speed"].reference
    assert speed.undecided == (field_map.drivers["speed"].verdict == "not enough counts")
    assert np.delete(speed.at_stops, 3).tolist() == np.delete(column, 3).tolist()
    assert speed.at_stops[3] in (1.0, 2.0, 3.0)


def test_verdicts_are_reckoned_over_priors_and_knots(field_map):
    """Equally likely draws: as smooth and as spread as the priors have it, each pair of knots as often as any other."""
    among = left_in_doubt(field_map, PLACES_M, DRIVEN, 1.0, WANTED)[1]
    assert len(among) == DRAWS
    pairs = [tuple(driver.hinge.knot for driver in each.drivers) for each in among]
    assert sorted(pairs.count(pair) for pair in set(pairs)) == [2] * 9
    assert {pair[0] for pair in pairs} == set(np.nanquantile(DRIVEN["speed"], (0.1, 0.35, 0.6)))
    smooth = LATTICE.prior[LATTICE.process >= ROUGH].sum()
    assert np.mean([each.is_smooth for each in among]) == pytest.approx(smooth, abs=2 / DRAWS)
    assert np.ptp([each.sd for each in among]) > 0.3 * np.ptp(SD)


def test_a_knot_that_is_set_is_the_only_one(field_map):
    """With zones.speed_above no other knot of speed is tried."""
    settings = Settings.model_validate(overridden({}, ['zones.speed_above="2.3 m/s"']))
    among = left_in_doubt(dataclasses.replace(field_map, settings=settings), PLACES_M, DRIVEN, 1.0, WANTED)[1]
    assert {each.drivers[0].hinge.knot for each in among} == {2.3}
    assert len({each.drivers[1].hinge.knot for each in among}) == 3


def test_more_frames_tell_more_of_a_further_stop_only(field_map):
    """Twice the frames raise what a further stop brings, less than twice; what the counted ones told stays."""
    (once, _), (twice, _) = (left_in_doubt(field_map, PLACES_M, DRIVEN, more, WANTED) for more in (1.0, 2.0))
    assert once.stop_precision < twice.stop_precision < 2 * once.stop_precision
    assert (once.precision == twice.precision).all()


def test_without_a_log_there_is_only_the_map(field_map):
    """No driver is known: none is handed on, and the map's doubt is the same."""
    doubt, among = left_in_doubt(field_map, PLACES_M, {}, 1.0, {})
    assert doubt.drivers == among[0].drivers == ()
    assert doubt.stop_precision == left_in_doubt(field_map, PLACES_M, DRIVEN, 1.0, WANTED)[0].stop_precision
