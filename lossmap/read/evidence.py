"""A mapped field's ``evidence.json``: what it brings to a season."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Annotated, Any

import pydantic

from lossmap.base.errors import ReadError, SettingsError, shown
from lossmap.base.estimates import Estimate
from lossmap.base.season import DriverEvidence, FieldEvidence
from lossmap.base.settings import build
from lossmap.base.tables import DRIVE, FACTORS, SOURCES

__all__ = ["read_evidence"]

FILE = "evidence.json"
REMEDY = "map the field again"
# A file of ours holds some 10 kB; one of more than this is none.
MOST_BYTES = 2_000_000
# A mixture of ours holds some 60 normals, each weight in six figures.
MOST_VALUES, WEIGHTS_OFF = 2000, 1e-3


def _positive(value: float) -> float:
    if value <= 0:
        raise ValueError(f"must be above 0 (is {value:g})")
    return value


def _never_negative(value: float) -> float:
    if value < 0:
        raise ValueError(f"must be at least 0 (is {value:g})")
    return value


def _one_of(*names: str) -> pydantic.AfterValidator:
    def known(name: str) -> str:
        if name not in names:
            raise ValueError(f"is none of {', '.join(names)}")
        return name

    return pydantic.AfterValidator(known)


Number = Annotated[float, pydantic.Field(allow_inf_nan=False, strict=True)]
Positive = Annotated[Number, pydantic.AfterValidator(_positive)]
NeverNegative = Annotated[Number, pydantic.AfterValidator(_never_negative)]


class _Loss(pydantic.BaseModel):
    mean_kg_ha: Number
    low_kg_ha: Number
    high_kg_ha: Number

    @pydantic.model_validator(mode="after")
    def _in_order(self) -> _Loss:
        if self.low_kg_ha > self.high_kg_ha:
            raise ValueError(f"low {self.low_kg_ha:g} is above high {self.high_kg_ha:g}")
        return self

    def value(self) -> Estimate:
        return Estimate(self.mean_kg_ha, self.low_kg_ha, self.high_kg_ha)


class _Driver(pydantic.BaseModel):
    weights: tuple[NeverNegative, ...]
    means: tuple[Number, ...]
    sds: tuple[Positive, ...]
    prior_sd: Positive
    expected_sd: Positive
    reference: Number
    mean: Number
    beyond: tuple[NeverNegative, ...]

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


class _File(pydantic.BaseModel):
    # a later version may write more
    model_config = pydantic.ConfigDict(extra="ignore")

    field_id: str = pydantic.Field(min_length=1, max_length=1000)
    crop: str = pydantic.Field(max_length=200)
    area_ha: Positive
    stops: Annotated[int, pydantic.Field(strict=True), pydantic.AfterValidator(_never_negative)]
    mass_doubt: NeverNegative
    log_loss_sd: NeverNegative | None
    loss: dict[Annotated[str, _one_of("total", *SOURCES)], _Loss]
    drivers: dict[Annotated[str, _one_of(*DRIVE)], _Driver]
    factors: dict[Annotated[str, _one_of(*FACTORS)], str]


def read_evidence(path: Path) -> FieldEvidence:
    """What the field of a folder of results, or of its ``evidence.json``, brings to a season.

    Raises
    ------
    ReadError
        There is no such file, it is not JSON, or it holds what no map has written; lists every fault.
    """
    path = Path(path)
    file = path if path.name == FILE else path / FILE
    where = f"{file.parent.name}/{FILE}"
    try:
        found = build(_File, _content(file, where), where)
    except SettingsError as fault:
        raise ReadError("\n".join(f"{line}; {REMEDY}" for line in str(fault).splitlines())) from fault
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
    )


def _content(file: Path, where: str) -> dict[str, Any]:
    try:
        with file.open("rb") as opened:
            raw = opened.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            raise ReadError(f"{where}: is larger than {MOST_BYTES / 1e6:.0f} MB; {REMEDY}")
        content = json.loads(raw.decode("utf-8"))
    except OSError as fault:
        raise ReadError(f"{where}: cannot be read ({fault.strerror or fault}); {REMEDY}") from fault
    except (ValueError, RecursionError) as fault:
        raise ReadError(f"{where}: is not JSON ({shown(fault, 120)}); {REMEDY}") from fault
    if not isinstance(content, dict):
        raise ReadError(f"{where}: holds {type(content).__name__}, not a table of evidence; {REMEDY}")
    return content
