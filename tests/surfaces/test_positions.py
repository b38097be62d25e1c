"""What each position sees of the parts, and which parts a field's counts tell apart."""

import geopandas as gpd
import numpy as np
import pytest

from lossmap.base.errors import TooLittleData
from lossmap.base.estimates import Estimate
from lossmap.base.tables import POSITIONS
from lossmap.surfaces.positions import parted

SEED = Estimate(150.0, 125.0, 180.0)
SHORT = {"b": "before_header", "f": "behind_header", "c": "behind_combine"}


def losses_of(stops, concentration=1.0, ears=None):
    """LOSSES of stops, each a word of the positions counted there (10, 20 and 30 seeds on 1 m2); ears likewise (2 on 40 m2)."""
    columns = {f"{what}_{position}": np.full(len(stops), np.nan) for what in ("seeds", "frame_m2") for position in POSITIONS}
    for row, word in enumerate(stops):
        for letter in word:
            columns[f"seeds_{SHORT[letter]}"][row] = 10.0 * ("bfc".index(letter) + 1)
            columns[f"frame_m2_{SHORT[letter]}"][row] = 1.0
    if ears is not None:
        columns |= {f"{what}_{position}": np.full(len(stops), np.nan) for what in ("ears", "ear_m2") for position in POSITIONS}
        for row, word in enumerate(ears):
            for letter in word:
                columns[f"ears_{SHORT[letter]}"][row], columns[f"ear_m2_{SHORT[letter]}"][row] = 2.0, 40.0
        columns |= {"ear_g": np.full(len(stops), 150.0), "ear_doubt": np.full(len(stops), 0.3)}
    columns |= {"concentration": np.full(len(stops), concentration), "weighed": np.zeros(len(stops))}
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(np.arange(len(stops)), np.zeros(len(stops))))


@pytest.mark.parametrize(
    ("stops", "parts", "seen_behind"),
    [
        (["c", "c"], [("preharvest", "header", "threshing")], [1]),
        (["fc", "c"], [("preharvest", "header"), ("threshing",)], [1, 1]),
        (["bc", "c"], [("preharvest",), ("header", "threshing")], [1, 1]),
        (["b", "f", "c"], [("preharvest",), ("header",), ("threshing",)], [1, 1, 1]),
    ],
)
def test_positions_cut_the_chain(stops, parts, seen_behind):
    """Each position counted anywhere ends a part; what lies behind the combine is all of them."""
    found, counted = parted(losses_of(stops), SEED)
    assert [part.sources for part in found] == parts
    assert counted.sees[-1].tolist() == seen_behind
    assert counted.stop.tolist() == [row for row, word in enumerate(stops) for _ in word]


def test_what_each_position_sees():
    """In front only preharvest loss, behind the header two sources, behind the combine three, the last concentrated."""
    _, counted = parted(losses_of(["bfc"], concentration=6.0), SEED)
    assert counted.sees.tolist() == [[1, 0, 0], [1, 1, 0], [1, 1, 6]]
    assert counted.seeds.tolist() == [10, 20, 30]
    assert counted.worth == pytest.approx([1.5, 1.5, 1.5])


def test_ears_are_parts_of_their_own():
    """Ears are never concentrated, lie alike behind header and combine, and weigh what an ear weighs."""
    parts, counted = parted(losses_of(["bfc"], 6.0, ears=["bfc"]), SEED)
    assert [(part.sources, part.is_ears) for part in parts[3:]] == [(("preharvest",), True), (("header",), True)]
    assert parts[3].kg_ha == pytest.approx(10 * 150.0)
    assert parts[3].mass_doubt == pytest.approx(0.3)
    assert counted.sees[3:].tolist() == [[0, 0, 0, 1, 0], [0, 0, 0, 1, 1]]
    assert counted.seeds[3:].tolist() == [2, 4]
    assert counted.area_m2[3:].tolist() == [40, 80]


def test_weighed_seed_has_no_doubt_of_mass():
    """Half of the seeds weighed: half of the doubt."""
    losses = losses_of(["c", "c"])
    (counted,), (half,) = (parted(losses.assign(weighed=share), SEED)[0] for share in (0.0, [0.0, 1.0]))
    assert half.mass_doubt == pytest.approx(counted.mass_doubt / 2)


@pytest.mark.parametrize(("stops", "concentration"), [(["b", "f"], 1.0), (["c", "bc"], 6.0), (["", ""], 1.0)])
def test_no_total_no_map(stops, concentration):
    """Never behind the combine, or in a windrow never in front of it: refused with what to count."""
    with pytest.raises(TooLittleData, match="the total loss is known at none of 2 stops; count behind the combine"):
        parted(losses_of(stops, concentration), SEED)


def test_ears_in_front_only():
    """Ears dropped before the header are not the header's: without a count behind it no total is known."""
    with pytest.raises(TooLittleData, match="at none of 1 stops ears were counted behind the header"):
        parted(losses_of(["bfc"], ears=["b"]), SEED)


def test_usual_shares_follow_the_parts():
    """Each part expects what its sources usually have; ears and seeds of a source half of it each."""
    _, three = parted(losses_of(["bfc"]), SEED)
    assert three.usual == pytest.approx([0.12, 0.76, 0.12])
    _, two = parted(losses_of(["fc"]), SEED)
    assert two.usual == pytest.approx([0.88, 0.12])
    _, with_ears = parted(losses_of(["bfc"], ears=["bfc"]), SEED)
    assert with_ears.usual == pytest.approx([0.06, 0.38, 0.12, 0.06, 0.38])
