"""Where the map of loss says little."""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely

from lossmap.base.field import FieldMap
from lossmap.report.unknown import UNKNOWN_BEYOND_M, UNKNOWN_RATIO, is_flat, unknown_part


def test_the_unknown_part_is_far_from_stops_where_the_interval_is_wide(field_map: FieldMap) -> None:
    """Truth: every hatched cell obeys both halves of the rule; a wide cell near a stop is not hatched."""
    unknown = unknown_part(field_map)
    assert unknown is not None
    loss = field_map.surfaces["loss_kg_ha"]
    easting, northing = (part.ravel() for part in np.meshgrid(*loss.grid.centres()))
    hatched = shapely.contains_xy(unknown, easting, northing)
    ratio = (loss.high / loss.low).ravel()
    nearest = shapely.distance(shapely.union_all(field_map.losses.geometry.to_numpy()), shapely.points(easting, northing))
    assert hatched.any()
    assert (ratio[hatched] > UNKNOWN_RATIO).all()
    assert (nearest[hatched] > UNKNOWN_BEYOND_M).all()


def test_a_sure_field_has_no_unknown_part(field_map: FieldMap) -> None:
    """Narrow intervals: nothing is hatched; without counts there is nothing to hatch by."""
    loss = field_map.surfaces["loss_kg_ha"]
    narrow = dataclasses.replace(loss, low=loss.mean * np.float32(0.8), high=loss.mean * np.float32(1.2))
    assert unknown_part(dataclasses.replace(field_map, surfaces={"loss_kg_ha": narrow})) is None
    assert unknown_part(dataclasses.replace(field_map, losses=field_map.losses.iloc[:0])) is None


def test_flat_is_one_value_everywhere(field_map: FieldMap) -> None:
    """A field mean is told from a map."""
    loss = field_map.surfaces["loss_kg_ha"]
    assert not is_flat(loss)
    assert is_flat(dataclasses.replace(loss, mean=np.where(np.isfinite(loss.mean), np.float32(118), np.float32(np.nan))))
