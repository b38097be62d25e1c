"""The ground of a field, as map and plan see it alike."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from lossmap.base.errors import TooLittleData
from lossmap.base.grid import Grid
from lossmap.base.settings import Settings
from lossmap.pipelines.ground import LAYERS, cleaned_log, cut_outline, machine_layers
from lossmap.project import project, utm_crs
from lossmap.read import read_field, read_points
from lossmap.synthetic import FieldPlan, make, write


@pytest.fixture(scope="module")
def read(tmp_path_factory):
    """A made field with its boundary, its folder's facts, and its log in metres."""
    folder = tmp_path_factory.mktemp("fields") / "creek"
    made = make(FieldPlan(stops=3, length_m=300, breadth_m=150), 3)
    write(made, folder)
    field = read_field(folder)
    log = read_points(field)
    return made, field, project(log.table, utm_crs(log.table)), log.timings


@pytest.fixture(scope="module")
def cleaned(read):
    """Its cleaned log."""
    _, field, points, timings = read
    return cleaned_log(points, field, Settings(), None, timings)[0]


def test_what_was_cut_is_the_field(read, cleaned):
    """The outline of a log covers the planted boundary and little else; no record off it is believed."""
    made, field, _, _ = read
    outline = cut_outline(cleaned, field)
    assert shapely.area(outline) == pytest.approx(made.boundary.area, rel=0.03)
    assert shapely.area(shapely.intersection(outline, made.boundary)) > 0.97 * made.boundary.area


def test_a_log_that_stands_still_is_no_field(read, cleaned):
    """Records that are all at one place have no outline, and the message says what to do."""
    _, field, _, _ = read
    nowhere = cleaned[(cleaned["pass_id"] == 1) & (cleaned["flag"] == "")]
    nowhere = nowhere.set_geometry([nowhere.geometry.iloc[0]] * len(nowhere), crs=cleaned.crs)
    with pytest.raises(TooLittleData) as refused:
        cut_outline(nowhere, field)
    assert str(refused.value) == ("creek: the log does not move, so no field can be seen in it; check its positions, or give a boundary")


def test_layers_are_those_the_log_knows(read, cleaned):
    """All three by name and in order, or those asked for; one without believed values is left out, and the others stay as they are."""
    _, field, _, _ = read
    outline = cut_outline(cleaned, field)
    grid = Grid.covering(outline, cleaned.crs, 5.0)
    inside = grid.inside(outline)
    every = machine_layers(cleaned, grid, inside, Settings())
    assert list(every) == list(LAYERS) == ["yield_kg_ha", "speed_m_s", "moisture_pct"]
    some = machine_layers(cleaned, grid, inside, Settings(), ("moisture_pct", "speed_m_s"))
    assert list(some) == ["speed_m_s", "moisture_pct"]
    assert all(np.array_equal(some[name].mean, every[name].mean, equal_nan=True) for name in some)
    unknown = machine_layers(cleaned.assign(moisture_pct=np.nan), grid, inside, Settings())
    assert list(unknown) == ["yield_kg_ha", "speed_m_s"]


def test_without_a_log_nothing_is_cleaned_and_nothing_layered(read):
    """An empty log passes through with a note, and has no layer."""
    _, field, points, _ = read
    empty, found = cleaned_log(points.iloc[:0], field, Settings(), None, ())
    assert (len(empty), found.read, found.kept) == (0, 0, 0)
    assert found.notes == ("no log was given: loss is not joined with speed, moisture or yield",)
    grid = Grid(points.crs, 0.0, 50.0, 5.0, 10, 10)
    assert machine_layers(empty, grid, np.ones(grid.shape, bool), Settings()) == {}
