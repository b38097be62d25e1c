"""summary.json: everything in the report as numbers (schema: shared/schemas/summary.schema.json)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from lossmap.base.estimates import Delay, Driver, Estimate
from lossmap.base.field import FieldMap
from lossmap.base.reference import Crop
from lossmap.base.tables import SOURCES
from lossmap.base.units import factor
from lossmap.report.run_file import version
from lossmap.report.words import bushels_ac, price_usd_kg

__all__ = ["summary"]


def summary(field_map: FieldMap) -> dict[str, Any]:
    """The content of summary.json; what nobody knows is None.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    facts, crop, cleaning = field_map.field.facts, field_map.field.crop, field_map.cleaning
    out: dict[str, Any] = {
        "lossmap": version(),
        "field": facts.name,
        "field_id": field_map.field.id,
        "crop": crop.name,
        "harvested_on": facts.harvested_on.isoformat() if facts.harvested_on else None,
        "area_ha": _known(field_map.area_ha),
        "outline": "boundary" if field_map.outline_given else "cut area",
        "points": _points(field_map),
        "delay": {"flow_s": _delay(cleaning.flow_delay), "moisture_s": _delay(cleaning.moisture_delay)},
        **_both("yield", field_map.yield_kg_ha, crop),
        "stops": len(field_map.losses),
        "seed_mass_g": _interval(field_map.seed_mass_g),
        "loss": {source: _loss(field_map, source) for source in ("total", *SOURCES)},
        "loss_surface": _surface_note(field_map),
        "drivers": {name: _driver(found, crop) for name, found in field_map.drivers.items()},
        "zones": len(field_map.zones),
        "zones_ha": _known(float(field_map.zones["area_ha"].sum())) if len(field_map.zones) else 0.0,
        "inputs_sha256": dict(field_map.inputs),
        "notes": [*field_map.notes, *cleaning.notes],
    }
    if field_map.settings.report.price is not None:
        out["money"] = _money(field_map, field_map.settings.report.price)
    return out


def _points(field_map: FieldMap) -> dict[str, Any]:
    cleaning = field_map.cleaning
    return {
        "read": cleaning.read,
        "kept": cleaning.kept,
        "flags": {reason: int(number) for reason, number in cleaning.flags.items()},
        "logged_ha": _known(cleaning.logged_ha),
        "fresh_ha": _known(cleaning.fresh_ha),
        "union_ha": _known(cleaning.union_ha),
        "pass_offset_pct": _known(cleaning.pass_offset_pct),
        "machine_factors": {
            name: {"factor": _known(by.mean), "low": _known(by.low), "high": _known(by.high)}
            for name, by in cleaning.machine_factors.items()
        },
        "yield_before": {name: _known(value) for name, value in cleaning.before.items()},
        "yield_after": {name: _known(value) for name, value in cleaning.after.items()},
    }


def _delay(delay: Delay) -> dict[str, Any]:
    return {
        "mean_s": _known(delay.seconds),
        "low_s": _known(delay.low),
        "high_s": _known(delay.high),
        "applied": bool(delay.applied),
        "note": delay.note,
        "curve": [[_known(seconds), _known(share)] for seconds, share in delay.curve],
    }


def _loss(field_map: FieldMap, source: str) -> dict[str, Any]:
    crop = field_map.field.crop
    out = _interval(field_map.loss[source], "_kg_ha")
    if crop.bushel_lb is not None:
        out |= _interval(field_map.loss[source].times(bushels_ac(crop)), "_bu_ac")
    share = field_map.loss_of_yield_pct[source]
    return out | {
        "pct_of_total_yield": _known(share.mean),
        "pct_of_total_yield_low": _known(share.low),
        "pct_of_total_yield_high": _known(share.high),
    }


def _surface_note(field_map: FieldMap) -> str | None:
    surface = field_map.surfaces.get("loss_kg_ha")
    return surface.note if surface is not None else None


def _driver(found: Driver, crop: Crop) -> dict[str, Any]:
    share = {"": found.share_kg_ha.mean, "low_": found.share_kg_ha.low, "high_": found.share_kg_ha.high}
    out: dict[str, Any] = {
        "verdict": found.verdict,
        "effect": _known(found.effect.mean),
        "effect_low": _known(found.effect.low),
        "effect_high": _known(found.effect.high),
        "effect_unit": f"times the loss per {found.effect_step}",
        "p": _known(1 - found.chance),
        "stops": found.stops,
        "stops_needed": found.stops_needed,
        "reference": _known(found.reference),
        "reference_unit": "m/s" if found.name == "speed" else "%",
        "note": found.note,
    }
    for end, value in share.items():
        out |= _both(f"share_{end}".rstrip("_"), value, crop)
    return out


def _money(field_map: FieldMap, price: str) -> dict[str, Any]:
    """What the loss would have sold for."""
    usd_kg = price_usd_kg(price, field_map.field.crop)
    per_ha = field_map.loss["total"].times(usd_kg)
    return {
        "price": price,
        "price_usd_kg": _known(usd_kg),
        "loss_usd_ha": _interval(per_ha),
        "loss_usd_ac": _interval(per_ha.times(1 / factor("ha", "ac"))),
        "loss_usd": _interval(per_ha.times(field_map.area_ha)),
    }


def _interval(estimate: Estimate, unit: str = "") -> dict[str, Any]:
    return {
        f"mean{unit}": _known(estimate.mean),
        f"low{unit}": _known(estimate.low),
        f"high{unit}": _known(estimate.high),
    }


def _both(name: str, value_kg_ha: float, crop: Crop) -> Mapping[str, Any]:
    """A mass per area in kg/ha, and in bu/ac for crops sold by the bushel."""
    out = {f"{name}_kg_ha": _known(value_kg_ha)}
    if crop.bushel_lb is not None:
        out[f"{name}_bu_ac"] = _known(value_kg_ha * bushels_ac(crop))
    return out


def _known(value: float) -> float | None:
    """JSON has no NaN: what nobody knows is null. Six significant figures are more than any estimate holds."""
    return float(f"{value:.6g}") if math.isfinite(value) else None
