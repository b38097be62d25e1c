"""summary.json: everything in the report as numbers (schema: shared/schemas/summary.schema.json)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from lossmap.base import reference
from lossmap.base.estimates import NOTHING, Delay, Driver, EffectCurve, Estimate, Pace, ReelSpeed
from lossmap.base.field import FieldMap
from lossmap.base.reference import Crop
from lossmap.base.tables import SOURCES
from lossmap.report.json_values import by_acre, interval, known
from lossmap.report.money import Price, price_of
from lossmap.report.run_file import version
from lossmap.report.words import bushels_ac

__all__ = ["summary"]


def summary(field_map: FieldMap) -> dict[str, Any]:
    """The content of summary.json; what nobody knows is None.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of this crop.
    """
    facts, crop, cleaning = field_map.field.facts, field_map.field.crop, field_map.cleaning
    price = price_of(field_map)
    out: dict[str, Any] = {
        "lossmap": version(),
        "field": facts.name,
        "field_id": field_map.field.id,
        "crop": crop.name,
        "harvested_on": facts.harvested_on.isoformat() if facts.harvested_on else None,
        "area_ha": known(field_map.area_ha),
        "outline": "boundary" if field_map.outline_given else "cut area",
        "points": _points(field_map),
        "delay": {"flow_s": _delay(cleaning.flow_delay), "moisture_s": _delay(cleaning.moisture_delay)},
        **_both("yield", field_map.yield_kg_ha, crop),
        "speed_m_s": known(_mean_of(field_map, "speed_m_s")),
        "moisture_pct": known(_mean_of(field_map, "moisture_pct")),
        "stops": len(field_map.losses),
        "seed_mass_g": interval(field_map.seed_mass_g),
        "loss": {source: _loss(field_map, source) for source in ("total", *SOURCES)},
        "loss_by_counting": interval(field_map.loss_by_counting, "_kg_ha"),
        "loss_surface": _surface_note(field_map),
        "drivers": {
            name: _driver(found, crop, price) | {"curve": _curve(field_map.curves.get(name, EffectCurve()))}
            for name, found in field_map.drivers.items()
        },
        "zones": len(field_map.zones),
        "zones_ha": known(float(field_map.zones["area_ha"].sum())) if len(field_map.zones) else 0.0,
        "inputs_sha256": dict(field_map.inputs),
        "notes": [*field_map.notes, *cleaning.notes],
    }
    if usual := reference.usual_loss(crop.name):
        out["usual_loss"] = [
            {"called": row.called, "low": row.low, "high": row.high, "unit": row.unit, "sources": list(row.keys)} for row in usual
        ]
    if price is not None:
        out["money"] = _money(field_map, price)
    if field_map.pace is not None:
        out["pace"] = _pace(field_map.pace)
    if field_map.reel is not None:
        out["reel"] = _reel(field_map.reel, crop)
    return out


def _mean_of(field_map: FieldMap, layer_name: str) -> float:
    """Speed or moisture at which it was cut, over its area; NaN where no log tells."""
    layer = field_map.surfaces.get(layer_name)
    return float(np.nanmean(layer.mean)) if layer is not None else math.nan


def _points(field_map: FieldMap) -> dict[str, Any]:
    cleaning = field_map.cleaning
    return {
        "read": cleaning.read,
        "kept": cleaning.kept,
        "flags": {reason: int(number) for reason, number in cleaning.flags.items()},
        "logged_ha": known(cleaning.logged_ha),
        "fresh_ha": known(cleaning.fresh_ha),
        "union_ha": known(cleaning.union_ha),
        "pass_offset_pct": known(cleaning.pass_offset_pct),
        "machine_factors": {
            name: {"factor": known(by.mean), "low": known(by.low), "high": known(by.high)} for name, by in cleaning.machine_factors.items()
        },
        "yield_before": {name: known(value) for name, value in cleaning.before.items()},
        "yield_after": {name: known(value) for name, value in cleaning.after.items()},
    }


def _delay(delay: Delay) -> dict[str, Any]:
    return {
        "mean_s": known(delay.seconds),
        "low_s": known(delay.low),
        "high_s": known(delay.high),
        "applied": bool(delay.applied),
        "note": delay.note,
        "curve": [[known(seconds), known(share)] for seconds, share in delay.curve],
    }


def _loss(field_map: FieldMap, source: str) -> dict[str, Any]:
    crop = field_map.field.crop
    out = interval(field_map.loss[source], "_kg_ha")
    if crop.bushel_lb is not None:
        out |= interval(field_map.loss[source].times(bushels_ac(crop)), "_bu_ac")
    share, of_loss = field_map.loss_of_yield_pct[source], field_map.share_of_loss_pct.get(source, NOTHING)
    if source != "total":
        out |= {"pct_of_loss": known(of_loss.mean), "pct_of_loss_low": known(of_loss.low), "pct_of_loss_high": known(of_loss.high)}
    return out | {
        "pct_of_total_yield": known(share.mean),
        "pct_of_total_yield_low": known(share.low),
        "pct_of_total_yield_high": known(share.high),
    }


def _surface_note(field_map: FieldMap) -> str | None:
    surface = field_map.surfaces.get("loss_kg_ha")
    return surface.note if surface is not None else None


def _driver(found: Driver, crop: Crop, price: Price | None) -> dict[str, Any]:
    share = {"": found.share_kg_ha.mean, "low_": found.share_kg_ha.low, "high_": found.share_kg_ha.high}
    out: dict[str, Any] = {
        "verdict": found.verdict,
        "effect": known(found.effect.mean),
        "effect_low": known(found.effect.low),
        "effect_high": known(found.effect.high),
        "effect_unit": f"times the loss per {found.effect_step}",
        "p": known(1 - found.chance),
        "stops": found.stops,
        "stops_needed": found.stops_needed,
        "reference": known(found.reference),
        "reference_unit": "m/s" if found.name == "speed" else "%",
        "coincidence": known(found.coincidence),
        "note": found.note,
    }
    for end, value in share.items():
        out |= _both(f"share_{end}".rstrip("_"), value, crop)
    return out | (_worth("share", found.share_kg_ha, price) if price is not None else {})


def _curve(curve: EffectCurve) -> list[list[float | None]]:
    """``[at, mean, low, high]`` at each value."""
    return [[known(at), *map(known, (one.mean, one.low, one.high))] for at, one in zip(curve.at, curve.loss_kg_ha, strict=True)]


def _money(field_map: FieldMap, price: Price) -> dict[str, Any]:
    """What the loss would have sold for."""
    return {"price": price.text, "price_usd_kg": known(price.usd_kg), **_worth("loss", field_map.loss["total"], price)}


def _worth(name: str, loss_kg_ha: Estimate, price: Price) -> dict[str, Any]:
    """Loss in money, by area and over the field."""
    per_ha = loss_kg_ha.times(price.usd_kg)
    return {
        f"{name}_usd_ha": interval(per_ha),
        f"{name}_usd_ac": interval(by_acre(per_ha)),
        f"{name}_usd": interval(per_ha.times(price.area_ha)),
    }


def _pace(found: Pace) -> dict[str, Any]:
    return {
        "verdict": found.verdict,
        "missing": list(found.missing),
        "hour_usd_h": known(found.hour_usd_h),
        "efficiency_pct": known(found.efficiency_pct),
        "best_m_s": interval(found.best_m_s),
        "today_m_s": known(found.today_m_s),
        "slowest_m_s": known(found.slowest_m_s),
        "fastest_m_s": known(found.fastest_m_s),
        "gain_usd_ha": interval(found.gain_usd_ha),
        "gain_usd_ac": interval(by_acre(found.gain_usd_ha)),
        "gain_usd_h": interval(found.gain_usd_h),
        "even_usd_ha": interval(found.even_usd_ha),
        "even_usd_ac": interval(by_acre(found.even_usd_ha)),
        "even_usd_h": interval(found.even_usd_h),
    }


def _reel(found: ReelSpeed, crop: Crop) -> dict[str, Any]:
    usual = reference.reel_range(crop.name)
    return {
        "index": known(found.index),
        "slow_index": known(found.slow_index),
        "fast_index": known(found.fast_index),
        "mean_m_s": known(found.mean_m_s),
        "rpm_per_index": known(found.rpm_per_index),
        "usual_low": usual.low if usual else None,
        "usual_high": usual.high if usual else None,
        "sources": list(dict.fromkeys((*usual.low_keys, *usual.high_keys))) if usual else [],
    }


def _both(name: str, value_kg_ha: float, crop: Crop) -> Mapping[str, Any]:
    """A mass per area in kg/ha, and in bu/ac for crops sold by the bushel."""
    out = {f"{name}_kg_ha": known(value_kg_ha)}
    if crop.bushel_lb is not None:
        out[f"{name}_bu_ac"] = known(value_kg_ha * bushels_ac(crop))
    return out
