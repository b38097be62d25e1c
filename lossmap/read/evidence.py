"""A mapped field's ``evidence.json``: what it brings to a season."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import pydantic
import shapely

from lossmap.base.errors import shown
from lossmap.base.estimates import Estimate
from lossmap.base.reference import crops
from lossmap.base.season import DriverEvidence, FieldEvidence
from lossmap.base.tables import DRIVE, FACTORS, SOURCES
from lossmap.read.results import Count, NeverNegative, Number, Positive, limits, one_of, read_result

__all__ = ["read_evidence"]

FILE = "evidence.json"
# A mixture of ours holds some 60 normals, each weight in six figures.
MOST_VALUES, WEIGHTS_OFF = 2000, 1e-3
# No field has more: kg/ha, one end of an interval over the other, slopes of log loss, speeds and moistures, log sd, ha.
LEAST_LOSS, MOST_LOSS, MOST_RATIO, MOST_SLOPE, MOST_DRIVER, MOST_DOUBT, MOST_AREA = 1e-40, 1e6, 1e30, 1e4, 1e3, 10.0, 1e7


class _Loss(pydantic.BaseModel):
    mean_kg_ha: Annotated[Number, limits(-MOST_LOSS, MOST_LOSS)]
    low_kg_ha: Annotated[Number, limits(-MOST_LOSS, MOST_LOSS)]
    high_kg_ha: Annotated[Number, limits(-MOST_LOSS, MOST_LOSS)]

    @pydantic.model_validator(mode="after")
    def _in_order(self) -> _Loss:
        if self.low_kg_ha > self.high_kg_ha:
            raise ValueError(f"low {self.low_kg_ha:g} is above high {self.high_kg_ha:g}")
        # of what is never below 0 the mean is at least 0.95 of the 5 % end; half allows for how ends are come by
        if self.low_kg_ha > 0 and self.mean_kg_ha < self.low_kg_ha / 2:
            raise ValueError(f"mean {self.mean_kg_ha:g} is far below low {self.low_kg_ha:g}")
        if self.low_kg_ha > 0 and self.low_kg_ha < max(self.high_kg_ha / MOST_RATIO, LEAST_LOSS):
            raise ValueError(f"low {self.low_kg_ha:g} is nearer to nothing than any count can tell (high is {self.high_kg_ha:g})")
        return self

    def value(self) -> Estimate:
        return Estimate(self.mean_kg_ha, self.low_kg_ha, self.high_kg_ha)


Slope = Annotated[Number, limits(-MOST_SLOPE, MOST_SLOPE)]
Spread = Annotated[Number, limits(1 / MOST_SLOPE**2, MOST_SLOPE)]
Doubt = Annotated[Number, limits(0.0, MOST_DOUBT)]


class _Driver(pydantic.BaseModel):
    weights: tuple[NeverNegative, ...]
    means: tuple[Slope, ...]
    sds: tuple[Spread, ...]
    prior_sd: Spread
    expected_sd: Spread
    reference: Annotated[Number, limits(-MOST_DRIVER, MOST_DRIVER)]
    mean: Annotated[Number, limits(-MOST_DRIVER, MOST_DRIVER)]
    beyond: tuple[Annotated[Number, limits(0.0, MOST_DRIVER)], ...]

    @pydantic.model_validator(mode="after")
    def _one_mixture(self) -> _Driver:
        if not len(self.weights) == len(self.means) == len(self.sds):
            raise ValueError(f"{len(self.weights)} weights, {len(self.means)} means and {len(self.sds)} sds are not one mixture")
        if not (len(self.weights) <= MOST_VALUES and 0 < len(self.beyond) <= MOST_VALUES):
            raise ValueError(f"{len(self.weights)} weights and {len(self.beyond)} beyond are not between 1 and {MOST_VALUES:,}")
        if abs(math.fsum(self.weights) - 1) > WEIGHTS_OFF:
            raise ValueError(f"weights add to {math.fsum(self.weights):.4g}, not to 1")
        return self

    def value(self) -> DriverEvidence:
        whole = math.fsum(self.weights)
        weights = tuple(weight / whole for weight in self.weights)
        return DriverEvidence(weights, self.means, self.sds, self.prior_sd, self.expected_sd, self.reference, self.mean, self.beyond)


def _outline(geometry: Any) -> shapely.Geometry:
    """A GeoJSON geometry as an area on the globe."""
    try:
        with np.errstate(invalid="ignore"):  # a corner that is no number is told below
            area = shapely.geometry.shape(geometry)
        lon, lat = np.abs(shapely.get_coordinates(area)).T
        if area.geom_type not in ("Polygon", "MultiPolygon") or area.is_empty:
            raise ValueError("no area")
        if not ((lon <= 180).all() and (lat <= 90).all()):
            raise ValueError("not on the globe")
    except (TypeError, ValueError, AttributeError, LookupError, ArithmeticError, RecursionError, shapely.errors.ShapelyError) as fault:
        raise ValueError(f"is no outline of a field ({shown(fault, 80)})") from fault
    return area


class _File(pydantic.BaseModel):
    # a later version may write more
    model_config = pydantic.ConfigDict(extra="ignore")

    field_id: str = pydantic.Field(min_length=1, max_length=1000)
    crop: Annotated[str, one_of(*crops())]
    area_ha: Annotated[Positive, limits(0.0, MOST_AREA)]
    stops: Count
    mass_doubt: Doubt
    log_loss_sd: Doubt | None
    loss: dict[Annotated[str, one_of("total", *SOURCES)], _Loss]
    drivers: dict[Annotated[str, one_of(*DRIVE)], _Driver]
    factors: dict[Annotated[str, one_of(*FACTORS)], str]
    outline: Annotated[Any, pydantic.AfterValidator(_outline)]


def read_evidence(path: Path) -> FieldEvidence:
    """What the field of a folder of results, or of its ``evidence.json``, brings to a season.

    Raises
    ------
    ReadError
        There is no such file, it is not JSON, or it holds what no map has written; lists every fault.
    """
    path = Path(path)
    file = path if path.name == FILE else path / FILE
    found = read_result(_File, file)
    return FieldEvidence(
        found.field_id,
        found.crop,
        found.area_ha,
        found.stops,
        {source: loss.value() for source, loss in found.loss.items()},
        {name: driver.value() for name, driver in found.drivers.items()},
        found.factors,
        found.mass_doubt,
        math.nan if found.log_loss_sd is None else found.log_loss_sd,
        found.outline,
    )
