"""Whether the stated doubt is the true one, from files to map, on made fields."""

from __future__ import annotations

from contextlib import nullcontext

import numpy as np
import pytest
from scipy.stats import binom

from lossmap.base.settings import Settings
from lossmap.base.tables import SOURCES
from lossmap.pipelines.map_field import made_map
from lossmap.read import read_field
from lossmap.synthetic import FieldPlan, make, write

OUTLINES = ("rectangle", "irregular", "bent", "holed")


def mapped(plan, rng_seed, folder):
    """A made field and its map."""
    made = make(plan, rng_seed)
    write(made, folder)
    return made, made_map(read_field(folder), Settings(), lambda name: nullcontext())


def covered(made, field_map):
    """Share of cells whose true loss lies in the stated interval."""
    surface = field_map.surfaces["loss_kg_ha"]
    east, north = np.meshgrid(*surface.grid.centres())
    truth = made.truth.surfaces["total_kg_ha"].at(east.ravel(), north.ravel()).reshape(surface.mean.shape)
    known = np.isfinite(truth) & np.isfinite(surface.mean)
    return float(((truth >= surface.low) & (truth <= surface.high))[known].mean())


@pytest.mark.parametrize("stops", [24, 48])
def test_nine_times_in_ten_is_nine_times_in_ten(tmp_path, stops):
    """Over sixteen fields of four shapes, one and four frames: 82-97 % of cells, and field means as often as nine in ten allows (2.5 %)."""
    cells, inside, ratio = [], 0, []
    for number in range(16):
        plan = FieldPlan(stops=stops, frames=4 if number % 2 else 1, outline=OUTLINES[number % 4], stated_seed_mass_g=156.2)
        made, field_map = mapped(plan, 100 + number, tmp_path / str(number))
        cells.append(covered(made, field_map))
        total, truth = field_map.loss["total"], made.truth.mean_kg_ha["total"]
        inside += total.low <= truth <= total.high
        ratio.append(total.mean / truth)
    assert 0.82 <= np.mean(cells) <= 0.97
    assert inside >= binom.ppf(0.025, 16, 0.9)
    assert np.mean(ratio) == pytest.approx(1.0, abs=0.08)


def test_stops_that_were_spread_over_speeds_do_not_count_fast_passes_twice(tmp_path):
    """Spread stops over-count fast passes; the sum of sources is the field's all the same, and adds up to the total."""
    ratio = []
    for number in range(8):
        plan = FieldPlan(stops=36, design="spread", speed_effect=2.22, stated_seed_mass_g=156.2)
        made, field_map = mapped(plan, 300 + number, tmp_path / str(number))
        parts = sum(field_map.loss[source].mean for source in SOURCES)
        assert parts == pytest.approx(field_map.loss["total"].mean)
        ratio.append(parts / made.truth.mean_kg_ha["total"])
    assert np.mean(ratio) == pytest.approx(1.0, abs=0.1)
