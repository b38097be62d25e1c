"""What one mapped field's results say, in one row of a season."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path
from typing import Annotated, Any

import pydantic

from lossmap.base.errors import ReadError
from lossmap.base.estimates import Verdict
from lossmap.base.tables import DRIVE, FACTORS
from lossmap.read.evidence import read_evidence
from lossmap.read.results import REMEDY, Count, NeverNegative, Number, Positive, limits, read_result, result_bytes

__all__ = ["read_season_row", "results_sha256"]


def read_season_row(folder: Path) -> dict[str, Any]:
    """What the results of one mapped field say.

    Returns
    -------
    dict
        SEASON's columns but for those of the run itself, ``geometry`` on WGS84, and the field's ``evidence``.

    Raises
    ------
    ReadError
        summary.json or evidence.json is missing or broken, or they are of two maps.
    """
    said, evidence = read_result(_Summary, folder / "summary.json"), read_evidence(folder)
    if (said.field_id, said.crop, said.stops, said.area_ha) != (evidence.field_id, evidence.crop, evidence.stops, evidence.area_ha):
        raise ReadError(f"{folder.name}: summary.json and evidence.json are not of one map; {REMEDY}")
    return {
        "name": said.field,
        "crop": said.crop,
        "area_ha": said.area_ha,
        "points": float(said.points.read),
        "points_kept": float(said.points.kept),
        "stops": float(said.stops),
        "zones": float(said.zones),
        **{name: value for source, loss in said.loss for name, value in loss.columns(source).items()},
        "total_pct": _number(said.loss.total.pct_of_total_yield),
        "yield_kg_ha": _number(said.yield_kg_ha),
        "speed_m_s": _number(said.speed_m_s),
        "moisture_pct": _number(said.moisture_pct),
        "loss_usd": _number(said.money.loss_usd.mean) if said.money is not None else math.nan,
        **{f"{driver}_verdict": getattr(said.drivers, driver).verdict for driver in DRIVE},
        **{f"{driver}_rests_on": "own counts" for driver in DRIVE},
        **{factor: evidence.factors.get(factor, "") for factor in FACTORS},
        "geometry": evidence.outline,
        "evidence": evidence,
    }


def results_sha256(folder: Path) -> dict[str, str]:
    """SHA-256 of the files that `read_season_row` reads, by their names, as run.toml has it of those that a map wrote.

    Raises
    ------
    ReadError
    """
    return {name: hashlib.sha256(result_bytes(folder / name)).hexdigest() for name in ("summary.json", "evidence.json")}


def _number(value: float | None) -> float:
    return math.nan if value is None else value


Within = Annotated[Number, limits(-1e12, 1e12)] | None


class _Points(pydantic.BaseModel):
    read: Count
    kept: Count


class _Loss(pydantic.BaseModel):
    mean_kg_ha: Annotated[Number, limits(-1e6, 1e6)] | None
    low_kg_ha: Annotated[Number, limits(-1e6, 1e6)] | None
    high_kg_ha: Annotated[Number, limits(-1e6, 1e6)] | None
    pct_of_total_yield: Within

    def columns(self, source: str) -> dict[str, float]:
        """Mean and ends under the names of SEASON."""
        ends = {"": self.mean_kg_ha, "low_": self.low_kg_ha, "high_": self.high_kg_ha}
        return {f"{source}_{end}kg_ha": _number(value) for end, value in ends.items()}


class _Losses(pydantic.BaseModel):
    total: _Loss
    preharvest: _Loss
    header: _Loss
    threshing: _Loss


class _Driver(pydantic.BaseModel):
    verdict: Verdict


class _Drivers(pydantic.BaseModel):
    speed: _Driver
    dryness: _Driver


class _Mean(pydantic.BaseModel):
    mean: Within


class _Money(pydantic.BaseModel):
    loss_usd: _Mean


class _Summary(pydantic.BaseModel):
    """Of summary.json what a season's table shows."""

    field: str
    field_id: str
    crop: str
    area_ha: Positive
    points: _Points
    stops: Count
    zones: Count
    loss: _Losses
    yield_kg_ha: Annotated[NeverNegative, limits(0.0, 1e6)] | None
    speed_m_s: Annotated[NeverNegative, limits(0.0, 1e3)] | None
    moisture_pct: Annotated[Number, limits(0.0, 100.0)] | None
    drivers: _Drivers
    money: _Money | None = None
