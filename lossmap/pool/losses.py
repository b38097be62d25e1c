"""Fields' losses as means over a season, and as logarithms to be compared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.estimates import NOTHING, Estimate, lognormal
from lossmap.base.grid import Floats
from lossmap.base.season import FieldEvidence
from lossmap.base.tables import SOURCES

__all__ = ["LogLosses", "mean_loss", "mean_losses"]

# No count tells a field's loss better than this (log standard deviation): it keeps one field from outweighing all others.
LEAST_LOG_SD = 0.02


@dataclass(frozen=True)
class LogLosses:
    """Logarithms of one source's loss, of the fields where it is known.

    Attributes
    ----------
    source : str
    fields : list of FieldEvidence
    log, variance : array, ``[field]``
        Middle of the loss [log kg/ha] and what its own counts leave in doubt; what a seed
        weighs is left out where fields of one crop share it, since it cancels between them.
    crop : array of int, ``[field]``
    """

    source: str
    fields: list[FieldEvidence]
    log: Floats
    variance: Floats
    crop: npt.NDArray[np.intp]

    @classmethod
    def of(cls, fields: Sequence[FieldEvidence], source: str) -> LogLosses:
        """Those of `fields` that know this source's loss."""
        known = [field for field in fields if _is_known(field, source)]
        crops = list(dict.fromkeys(field.crop for field in known))
        losses = [field.loss[source] for field in known]
        own = [max(loss.log_sd**2 - field.mass_doubt**2, LEAST_LOG_SD**2) for loss, field in zip(losses, known, strict=True)]
        log = [math.log(loss.low * loss.high) / 2 for loss in losses]
        return cls(source, known, np.array(log), np.array(own), np.array([crops.index(field.crop) for field in known], dtype=np.intp))

    def mean(self, chosen: npt.NDArray[np.bool_]) -> float:
        """Mean by area over the fields chosen [kg/ha]."""
        area, loss = np.array([(field.area_ha, field.loss[self.source].mean) for field in self.fields])[chosen].T
        return float(area @ loss / area.sum())


def mean_losses(fields: Sequence[FieldEvidence]) -> dict[str, Estimate]:
    """Mean by area of the total and of each source [kg/ha]; `NOTHING` where no field knows it."""
    return {source: mean_loss(fields, source) for source in ("total", *SOURCES)}


def mean_loss(fields: Sequence[FieldEvidence], source: str) -> Estimate:
    """Mean by area over the fields where it is known [kg/ha].

    Fields' counts err apart from one another; what a seed weighs errs alike in all fields of
    a crop that take it from the table. A lone field's mean is its own, to the digit.
    """
    known = [field for field in fields if _is_known(field, source)]
    if len(known) < 2:
        return known[0].loss[source] if known else NOTHING
    whole = math.fsum(field.area_ha for field in known)
    mean = math.fsum(field.area_ha * field.loss[source].mean for field in known) / whole
    apart, together = 0.0, dict[str, float]()
    for field in known:
        part = field.area_ha / whole * field.loss[source].mean
        apart += part**2 * math.expm1(max(field.loss[source].log_sd ** 2 - field.mass_doubt**2, 0.0))
        together[field.crop] = together.get(field.crop, 0.0) + part * field.mass_doubt
    log_variance = math.log1p((apart + math.fsum(part**2 for part in together.values())) / mean**2)
    return lognormal(mean, log_variance)


def _is_known(field: FieldEvidence, source: str) -> bool:
    """A loss of which nothing was found has no logarithm."""
    return bool(loss := field.loss.get(source, NOTHING)) and loss.low > 0
