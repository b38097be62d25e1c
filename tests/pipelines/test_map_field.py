from __future__ import annotations

from contextlib import nullcontext

import numpy as np
import pytest
import shapely

from lossmap.base.errors import LossmapError
from lossmap.base.settings import Settings
from lossmap.base.tables import DRIVE
from lossmap.pipelines.map_field import made_map, map_field
from lossmap.read import read_field
from lossmap.synthetic import FieldPlan, make, write


def silent(name):
    """A stage that says nothing."""
    return nullcontext()


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A made field with a strong speed effect, its folder and its map."""
    folder = tmp_path_factory.mktemp("fields") / "creek"
    field = make(FieldPlan(stops=36, design="spread", speed_effect=2.22, length_m=400, breadth_m=250, stated_seed_mass_g=156.2), 11)
    write(field, folder)
    return field, folder, made_map(read_field(folder), Settings(), silent)


def test_every_part_lies_on_one_grid(made):
    """All surfaces share the field's grid, and each cell of the table is a cell inside the outline."""
    _, _, field_map = made
    grids = {surface.grid for surface in field_map.surfaces.values()}
    assert len(grids) == 1
    assert len(field_map.cells) == grids.pop().inside(field_map.outline).sum()
    assert shapely.contains(field_map.outline, field_map.cells.geometry.to_numpy()).all()


def test_what_was_planted_is_found(made):
    """Loss, yield, area and the link with speed come out as planted, inside the stated doubt."""
    field, _, field_map = made
    assert field_map.loss["total"].low <= field.truth.mean_kg_ha["total"] <= field_map.loss["total"].high
    assert field_map.yield_kg_ha == pytest.approx(field.plan.yield_kg_ha, rel=0.05)
    assert field_map.area_ha == pytest.approx(field.boundary.area / 10_000, rel=0.02)
    assert field_map.drivers["speed"].verdict == "tracks"
    assert field_map.drivers["dryness"].verdict != "tracks"
    assert set(field_map.zones["reason"]) <= {"speed"}


def test_a_price_that_cannot_be_is_refused_before_any_stage(made):
    """A slip in the price costs no map: nothing is read before it is weighed."""
    _, folder, _ = made
    begun = []

    def stage(name):
        begun.append(name)
        return nullcontext()

    with pytest.raises(LossmapError, match=r"report\.price"):
        made_map(read_field(folder), Settings.model_validate({"report": {"price": "4.20 USD/sack"}}), stage)
    assert begun == []


def test_curves_run_over_the_stops_and_rise_where_loss_tracks(made):
    """Both drivers, from the least to the most at which stops were cut; along speed it doubles, and its mean over the field is the loss."""
    _, _, field_map = made
    for name, column in DRIVE.items():
        at = field_map.losses[column]
        assert (field_map.curves[name].at[0], field_map.curves[name].at[-1]) == pytest.approx((at.min(), at.max()))
    speed = field_map.curves["speed"]
    middles = np.array([one.mean for one in speed.loss_kg_ha])
    assert middles[-1] > 2 * middles[0]
    over_field = np.interp(field_map.cells["speed_m_s"].dropna(), speed.at, middles).mean()
    assert over_field == pytest.approx(field_map.loss["total"].mean, rel=0.05)


def test_shares_of_yield_name_their_basis(made):
    """Percent loss is of harvested and lost together."""
    _, _, field_map = made
    loss, share = field_map.loss["total"], field_map.loss_of_yield_pct["total"]
    assert share.mean == pytest.approx(100 * loss.mean / (loss.mean + field_map.yield_kg_ha))


def test_moving_the_field_moves_the_map(made, tmp_path):
    """The same field a kilometre east has the same loss, cell by cell."""
    field, _, field_map = made
    moved = tmp_path / "creek"
    plan = field.plan.__class__(**{**field.plan.__dict__, "west_m": field.plan.west_m + 1000.0})
    write(make(plan, 11), moved)
    other = made_map(read_field(moved), Settings(), silent)
    # the written places are rounded, so the grids may differ by a cell at an edge: compared place by place
    x, y = field_map.cells.geometry.x.to_numpy(), field_map.cells.geometry.y.to_numpy()
    here, there = field_map.surfaces["loss_kg_ha"].at(x, y), other.surfaces["loss_kg_ha"].at(x + 1000.0, y)
    known = np.isfinite(here) & np.isfinite(there)
    assert known.mean() > 0.97
    assert np.median(np.abs(there[known] / here[known] - 1)) < 0.02
    assert other.loss["total"].mean == pytest.approx(field_map.loss["total"].mean, rel=0.02)


def test_results_are_named_by_the_folder(made, tmp_path):
    """map_field writes into out/<folder's name> and says where."""
    _, folder, _ = made
    result = map_field(folder, Settings(), tmp_path / "out")
    assert result.file == tmp_path / "out" / "creek" / "map.html"
    assert result.file.exists()
    assert result.sentence.startswith("loss ")
    assert result.values["drivers"]["speed"]["verdict"] == "tracks"
