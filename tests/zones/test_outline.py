"""Zones: what is outlined, what is left out, and what is said of it."""

import math

import numpy as np
import pyproj
import pytest
import shapely

from lossmap.base.estimates import NOTHING, Driver, Estimate
from lossmap.base.grid import Grid, Surface
from lossmap.base.settings import ZoneSettings
from lossmap.base.tables import ZONES
from lossmap.zones import outline as outline_module
from lossmap.zones.outline import zones

GRID = Grid(pyproj.CRS(32615), 0.0, 200.0, 5.0, 40, 40)
OUTLINE = shapely.box(0, 0, 200, 200)
USUAL = ZoneSettings()


def driver_of(verdict="tracks", name="speed", reference=2.0):
    """A driver with that verdict."""
    return Driver(name, verdict, Estimate(1.5, 1.2, 1.8), "+0.5 m/s", 0.99, reference, 60, None, NOTHING)


def flat(value, name="loss_kg_ha"):
    """A surface with one value and an interval of a fifth of it."""
    array = np.full(GRID.shape, value, np.float32)
    return Surface(name, "kg/ha", GRID, array, array * 0.8, array * 1.2)


def chance_at(*blocks):
    """90 % in blocks of (rows, cols), 10 % elsewhere."""
    array = np.full(GRID.shape, 10.0, np.float32)
    for rows, cols in blocks:
        array[rows, cols] = 90.0
    return Surface("chance_pct", "%", GRID, array, array, array)


def outlined(chance, drivers=None, outline=OUTLINE, excess=20.0, settings=USUAL):
    """Zones of speed."""
    drivers = {"speed": driver_of()} if drivers is None else drivers
    return zones(flat(90.0), {"speed": flat(excess)}, {"speed": chance}, drivers, outline, settings)


def test_a_block_is_its_squares():
    """20 x 12 cells of 5 m: a rectangle of 0.6 ha where it was put."""
    found = outlined(chance_at((slice(4, 24), slice(10, 22))))
    assert found.geometry[0].equals(shapely.box(50, 80, 110, 180))
    row = found.iloc[0]
    assert row["area_ha"] == pytest.approx(0.6)
    assert (row["loss_kg_ha"], row["loss_low_kg_ha"], row["loss_high_kg_ha"]) == pytest.approx((90, 72, 108))
    assert (row["excess_kg_ha"], row["excess_low_kg_ha"], row["excess_high_kg_ha"]) == pytest.approx((20, 16, 24))
    assert row["chance_pct"] == pytest.approx(90)


def test_why_is_one_plain_sentence():
    """What, where, how much with its doubt; 'tracks', and no cause."""
    why = outlined(chance_at((slice(4, 24), slice(10, 22))))["why"][0]
    assert why == (
        "This part of the field was cut faster than 2 m/s; loss here tracks ground speed, about 20 kg/ha (16 to 24) above the reference."
    )


def test_small_ones_are_left_out():
    """A zone below the least area is not drawn, the other is."""
    found = outlined(chance_at((slice(0, 3), slice(0, 3)), (slice(20, 40), slice(20, 40))))
    assert found["area_ha"].tolist() == [pytest.approx(1.0)]


def test_parts_near_one_another_are_one_zone():
    """Ribbons four cells apart are one zone of two parts, and the slow strip between them is no part of it; five cells apart are two."""
    near = outlined(chance_at((slice(0, 40), slice(4, 8)), (slice(0, 40), slice(12, 16))))
    assert len(near) == 1
    assert near.geometry[0].geom_type == "MultiPolygon"
    assert near["area_ha"][0] == pytest.approx(2 * 40 * 4 * 25 / 10_000)
    assert len(outlined(chance_at((slice(0, 40), slice(4, 8)), (slice(0, 40), slice(13, 17))))) == 2


def test_cut_to_the_field():
    """Nothing reaches beyond the outline."""
    triangle = shapely.Polygon([(0, 0), (200, 0), (0, 200)])
    found = outlined(chance_at((slice(0, 40), slice(0, 40))), outline=triangle)
    assert found.geometry[0].within(triangle.buffer(1e-6))
    assert found["area_ha"][0] == pytest.approx(2.0)


def test_most_lost_comes_first():
    """Zone A is the one with the largest excess in all, whatever its reason."""
    speed, dry = chance_at((slice(0, 10), slice(0, 10))), chance_at((slice(20, 40), slice(0, 40)))
    drivers = {"speed": driver_of(), "dryness": driver_of(name="dryness", reference=13.0)}
    excess = {"speed": flat(20.0), "dryness": flat(15.0)}
    found = zones(flat(90.0), excess, {"speed": speed, "dryness": dry}, drivers, OUTLINE, USUAL)
    assert found[["zone_id", "reason"]].to_numpy().tolist() == [["A", "dryness"], ["B", "speed"]]
    assert found["why"][0].startswith("This part of the field was drier than 13 % when cut; loss here tracks dryness")


@pytest.mark.parametrize("verdict", ["no sign", "not enough counts"])
def test_no_verdict_no_zone(verdict):
    """However high the chance of cells, a field whose gate was not passed has no zones: an empty table that keeps its contract."""
    found = outlined(chance_at((slice(0, 40), slice(0, 40))), drivers={"speed": driver_of(verdict)})
    assert len(found) == 0
    assert ZONES.check(found) is found
    assert found.crs == GRID.crs


def test_unknown_cells_join_no_zone():
    """Cells outside the field, NaN, are nobody's."""
    chance = chance_at((slice(0, 20), slice(0, 20)))
    chance.mean[:, :10] = np.nan
    assert outlined(chance)["area_ha"][0] == pytest.approx(20 * 10 * 25 / 10_000)


def test_letters_go_on_after_z(monkeypatch):
    """28 zones: A to Z, then AA and AB."""
    monkeypatch.setattr(outline_module, "JOINED_CELLS", 1)
    blocks = [(slice(6 * row, 6 * row + 3), slice(6 * col, 6 * col + 3)) for row in range(6) for col in range(6)][:28]
    found = outlined(chance_at(*blocks), settings=ZoneSettings(least_area="0.02 ha"))
    assert found["zone_id"].tolist()[-3:] == ["Z", "AA", "AB"]
    assert math.isclose(found["area_ha"].sum(), 28 * 9 * 25 / 10_000)
