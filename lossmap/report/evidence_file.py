"""evidence.json: what one field brings to a season, so that many are pooled without fitting any again (`lossmap.read.read_evidence`)."""

from __future__ import annotations

import math
from typing import Any

import geopandas as gpd
import shapely

from lossmap.base.field import FieldMap
from lossmap.base.season import DriverEvidence
from lossmap.base.tables import FACTORS
from lossmap.report.geojson import lonlat
from lossmap.report.json_values import interval, known
from lossmap.report.run_file import version

__all__ = ["evidence"]

#: How far the outline may run beside the field's edge [m].
OUTLINE_M = 0.5

#: Unit of each driver itself, and of the slope of log loss along it.
UNITS = {"speed": ("m/s", "per m/s"), "dryness": ("%", "per point")}


def evidence(field_map: FieldMap) -> dict[str, Any]:
    """The content of evidence.json; what nobody knows is None."""
    facts = field_map.field.facts
    return {
        "lossmap": version(),
        "field_id": field_map.field.id,
        "crop": field_map.field.crop.name,
        "area_ha": known(field_map.area_ha),
        "stops": len(field_map.losses),
        "mass_doubt": known(_mass_doubt(field_map)),
        "log_loss_sd": known(field_map.typical.sd),
        "loss": {source: interval(loss, "_kg_ha") for source, loss in field_map.loss.items() if loss},
        "drivers": {name: _driver(name, found) for name, found in field_map.posteriors.items()},
        "factors": {name: getattr(facts, name) for name in FACTORS if getattr(facts, name)},
        "outline": _outline(field_map),
    }


def _outline(field_map: FieldMap) -> dict[str, Any]:
    """The field's edge as a GeoJSON geometry, without the corners that no map of a season shows."""
    edge = gpd.GeoSeries([shapely.simplify(field_map.outline, OUTLINE_M)], crs=field_map.crs)
    geometry: dict[str, Any] = shapely.geometry.mapping(lonlat(edge)[0])
    return geometry


def _mass_doubt(field_map: FieldMap) -> float:
    """Log standard deviation of what a seed weighs, where fields share it: none of this one was weighed."""
    total, by_counting = field_map.loss["total"], field_map.loss_by_counting
    if field_map.field.facts.thousand_seed_mass is not None or not (total and by_counting):
        return 0.0
    return math.sqrt(max(total.log_sd**2 - by_counting.log_sd**2, 0.0))


def _driver(name: str, found: DriverEvidence) -> dict[str, Any]:
    unit, slope_unit = UNITS[name]
    return {
        "unit": unit,
        "slope_unit": slope_unit,
        "weights": [known(value) for value in found.weights],
        "means": [known(value) for value in found.means],
        "sds": [known(value) for value in found.sds],
        "prior_sd": known(found.prior_sd),
        "expected_sd": known(found.expected_sd),
        "reference": known(found.reference),
        "mean": known(found.mean),
        "beyond": [known(value) for value in found.beyond],
    }
