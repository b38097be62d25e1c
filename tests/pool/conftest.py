"""Seasons whose slopes and losses we know: normal evidence, no counts; all of it made up."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from lossmap.base.estimates import Z90, Estimate
from lossmap.base.season import DriverEvidence, FieldEvidence

PRIOR_SD = {"speed": 1.2, "dryness": 0.4}
#: Slopes of a moderate effect.
MODERATE = {"speed": math.log(1.49) / 0.5, "dryness": math.log(1.65) / 2}


@dataclass(frozen=True)
class Made:
    """Fields' evidence, and the slope of speed planted in each."""

    fields: list[FieldEvidence]
    slopes: np.ndarray


def normal(seen: float, sd: float, name: str = "speed") -> DriverEvidence:
    """A field whose counts say `seen` give or take `sd`: the posterior that follows with the prior."""
    prior_sd = PRIOR_SD[name]
    variance = 1 / (prior_sd**-2 + sd**-2)
    return DriverEvidence(
        (1.0,),
        (variance * seen / sd**2,),
        (math.sqrt(variance),),
        prior_sd,
        math.sqrt(variance),
        2.0 if name == "speed" else 13.0,
        2.0 if name == "speed" else 13.0,
        tuple(np.maximum(np.linspace(-0.6, 0.6, 32), 0.0).tolist()),
    )


def season(
    rng: np.random.Generator,
    fields: int = 20,
    mean: float = 0.0,
    spread: float = 0.0,
    sd: float = 0.5,
    share: float = 1.0,
    **more: Any,
) -> Made:
    """Slopes of speed normal about `mean` (a `share` of the fields; 0 in the others), each seen give or take `sd`."""
    slopes = np.where(rng.random(fields) < share, rng.normal(mean, spread, fields), 0.0)
    seen = rng.normal(slopes, sd)
    return Made([field(f"f{number:04d}", speed=normal(float(one), sd), **more) for number, one in enumerate(seen)], slopes)


def field(name: str, loss: float = 100.0, log_sd: float = 0.2, crop: str = "soybean", **more: Any) -> FieldEvidence:
    """One field; drivers and factors by their names, `source=loss` in kg/ha beside the total."""
    drivers = {key: more.pop(key) for key in PRIOR_SD if key in more}
    amounts = {"total": loss, **{key: more.pop(key) for key in ("header", "threshing") if isinstance(more.get(key), float)}}
    facts = {key: more.pop(key) for key in list(more) if isinstance(more[key], str)}
    losses = {
        source: Estimate(amount, amount * math.exp(-Z90 * log_sd), amount * math.exp(Z90 * log_sd)) for source, amount in amounts.items()
    }
    return FieldEvidence(name, crop, more.pop("area_ha", 20.0), 12, losses, drivers, facts, **{"log_loss_sd": 0.6, **more})


@pytest.fixture(scope="session")
def made_season() -> Callable[..., Made]:
    """Makes seasons: ``made_season(rng, fields=20, mean=0.0, spread=0.0, sd=0.5, share=1.0)``."""
    return season


@pytest.fixture(scope="session")
def made_field() -> Callable[..., FieldEvidence]:
    """Makes one field: ``made_field("name", loss=100.0, header=80.0, machine="red", speed=...)``."""
    return field


@pytest.fixture(scope="session")
def seen() -> Callable[..., DriverEvidence]:
    """Evidence of one driver: ``seen(slope, sd, "speed")``."""
    return normal


@pytest.fixture(scope="session")
def moderate() -> dict[str, float]:
    """Slopes of a moderate effect."""
    return MODERATE
