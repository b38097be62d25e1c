"""Estimates as JSON holds them."""

from __future__ import annotations

import math
from typing import Any

from lossmap.base.estimates import Estimate
from lossmap.base.units import factor

__all__ = ["by_acre", "interval", "known"]


def known(value: float) -> float | None:
    """JSON has no NaN: what nobody knows is null. Six significant figures are more than any estimate holds."""
    return float(f"{value:.6g}") if math.isfinite(value) else None


def interval(estimate: Estimate, unit: str = "") -> dict[str, Any]:
    """``mean``, ``low`` and ``high``, each with `unit` behind its name."""
    return {f"mean{unit}": known(estimate.mean), f"low{unit}": known(estimate.low), f"high{unit}": known(estimate.high)}


def by_acre(by_hectare: Estimate) -> Estimate:
    """Money or mass of an acre, from that of a hectare."""
    return by_hectare.times(1 / factor("ha", "ac"))
