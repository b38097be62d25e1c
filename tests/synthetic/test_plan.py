"""A plan that cannot be is refused; what follows from one."""

from __future__ import annotations

import math

import pytest

from lossmap.base.errors import SettingsError
from lossmap.base.reference import crop
from lossmap.synthetic import FieldPlan


@pytest.mark.parametrize(
    ("part", "message"),
    [
        ({"outline": "bend"}, 'FieldPlan: outline "bend" is not known; did you mean bent?'),
        ({"positions": ("behind_heder",)}, 'FieldPlan: position "behind_heder" is not known; did you mean behind_header?'),
    ],
)
def test_plans_that_cannot_be_are_refused(part: dict[str, object], message: str) -> None:
    """A misspelt outline or position is named, with the nearest that exists."""
    with pytest.raises(SettingsError) as refusal:
        FieldPlan(**part)  # type: ignore[arg-type]
    assert str(refusal.value) == message


def test_what_a_plan_leaves_out_the_crop_table_gives() -> None:
    """Seed and ear weigh what the crop's do unless said; an ear of a crop that has none is not a number."""
    assert FieldPlan(crop="corn").thousand_seeds_g == crop("corn").seed_mass_g.mean
    assert FieldPlan(crop="corn", seed_mass_g=305).thousand_seeds_g == 305
    assert FieldPlan(crop="corn").grain_on_ear_g == crop("corn").ear_grain_g.mean
    assert math.isnan(FieldPlan(crop="soybean").grain_on_ear_g)


def test_residue_lies_denser_where_it_falls_on_a_narrow_strip() -> None:
    """Cut width over discharge width; 1 where nothing was said of the discharge."""
    assert FieldPlan(header_width_m=9.0, discharge_width_m=1.5).concentration == 6
    assert FieldPlan(header_width_m=9.0).concentration == 1
