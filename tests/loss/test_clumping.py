"""Clumping: planted ones come back, from whatever the counts repeat, and none is taken from one count alone."""

import numpy as np
import pytest

from lossmap.base.settings import LossSettings
from lossmap.loss import losses, seed_mass_g
from lossmap.loss.clumping import USUAL_CLUMPING, clumping
from lossmap.loss.tally import tally


def found(counts, field):
    """Clumping with the usual settings."""
    return clumping(counts, tally(counts, field, LossSettings(), seed_mass_g(field, LossSettings())))


def drawn(rng, places, planted, mean=12.0, position="behind_combine"):
    """Rows of one frame a stop at these places, clumped as planted."""
    seeds = rng.poisson(mean * (rng.gamma(1 / planted, planted, len(places)) if planted else 1.0), len(places))
    return [
        {"stop_id": f"s{number}", "position": position, "seeds": int(one), "east": east, "north": north}
        for number, (one, (east, north)) in enumerate(zip(seeds, places, strict=True))
    ]


def mean_of(seeds, field, rows_of):
    """Mean clumping over several made fields: one field's own is known to a quarter only."""
    return np.mean([found(rows_of(np.random.default_rng(rng_seed)), field) for rng_seed in range(seeds)])


@pytest.mark.parametrize("planted", [0.0, 0.3, 1.0])
def test_repeated_frames_tell_a_planted_clumping(planted, counts_of, field_of):
    """Four frames at each of 100 stops that differ by half, six fields: on average within a tenth."""

    def rows_of(rng):
        return counts_of(
            [
                {**row, "stop_id": f"s{stop}"}
                for stop in range(100)
                for row in drawn(rng, [(30.0 * stop, 0.0)] * 4, planted, mean=rng.lognormal(2.5, 0.4))
            ]
        )

    assert mean_of(6, field_of(), rows_of) == pytest.approx(planted, rel=0.1, abs=0.03)


@pytest.mark.parametrize("alike", [True, False])
def test_neighbouring_stops_tell_it_where_no_frame_is_repeated(alike, counts_of, field_of):
    """One frame a stop, two stops at each of 200 places or 400 over the field: the planted one less what places usually differ by."""

    def rows_of(rng):
        places = np.repeat(rng.uniform(0, 800, (200, 2)), 2, axis=0) if alike else rng.uniform(0, 800, (400, 2))
        return counts_of(drawn(rng, places, 0.8, 12 * (1.0 if alike else np.exp(0.5 * np.sin(places[:, 0] / 150)))))

    assert mean_of(8, field_of(), rows_of) == pytest.approx(0.8 - 0.125, abs=0.06)


def test_positions_of_a_stop_tell_it(counts_of, field_of):
    """Stops far apart that differ threefold, front and behind counted at each: what they share is not taken for clumping."""

    def rows_of(rng):
        places = [(400.0 * stop, 0.0) for stop in range(300)]
        mean = rng.lognormal(2.5, 1.1, 300)
        return counts_of([*drawn(rng, places, 0.4, mean, "behind_header"), *drawn(rng, places, 0.4, mean, "behind_combine")])

    assert mean_of(8, field_of(), rows_of) == pytest.approx(0.4, abs=0.06)


def test_one_stop_says_nothing(counts_of, field_of):
    """A single count: what is usual."""
    assert found(counts_of(drawn(np.random.default_rng(7), [(0.0, 0.0)], 0.5)), field_of()) == USUAL_CLUMPING


def test_clumping_is_seen_in_repeated_rows(field_of, counts_of):
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
