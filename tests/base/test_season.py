"""What passes between the stages of a season."""

from __future__ import annotations

from lossmap.base.field import FieldFacts
from lossmap.base.season import Pooled
from lossmap.base.tables import FACTORS, SEASON


def test_every_factor_is_a_fact_of_a_field_and_a_column_of_a_season():
    """Six free words of field.toml, each optional there, each in the season's table."""
    columns = [column.name for column in SEASON.columns]
    for name in FACTORS:
        assert FieldFacts.model_fields[name].default is None
        assert name in columns
    assert len(FACTORS) == 6


def test_nothing_pooled_knows_nothing():
    """Without fields: no area, no loss, nothing compared."""
    nothing = Pooled()
    assert (nothing.fields, nothing.area_ha, nothing.contrasts, nothing.notes) == (0, 0.0, (), ())
    assert not nothing.loss["total"]
