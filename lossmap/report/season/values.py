"""A season as numbers: summary.json, and the columns of its table and outlines."""

from __future__ import annotations

from typing import Any

from lossmap.base import reference
from lossmap.base.estimates import Estimate
from lossmap.base.reference import Crop
from lossmap.base.season import LevelContrast, PooledCurve, PooledDriver, Season, ShrunkenSlope
from lossmap.base.tables import SEASON, SOURCES
from lossmap.report.evidence_file import UNITS
from lossmap.report.geojson import with_bushels
from lossmap.report.json_values import interval, known
from lossmap.report.run_file import changed, version
from lossmap.report.season.crops import CropLoss, common_words, crop_losses, failed, mapped
from lossmap.report.season.words import cautions, contrasts_shown
from lossmap.report.words import bushels_ac

__all__ = ["properties", "values_of_season"]


def values_of_season(season: Season) -> dict[str, Any]:
    """The content of summary.json: same season, same numbers; what nobody knows is None.

    Raises
    ------
    SettingsError
        ``report.price`` is no price of one of the crops.
    """
    pooled, crop = season.pooled, common_words(season).crop
    fields, bad = mapped(season), failed(season)
    return {
        "lossmap": version(),
        "season": season.name,
        "made_on": season.made_on.isoformat(),
        "mapped": len(fields),
        "failed": len(bad),
        "remade": int(season.fields["remade"].sum()),
        "area_ha": known(float(fields["area_ha"].sum())),
        "loss": {source: _loss(pooled.loss[source], crop) for source in ("total", *SOURCES) if pooled.loss.get(source)},
        "crops": {of.words.crop.name: _crop(of) for of in crop_losses(season)},
        "drivers": {
            name: _driver(found, crop) | {"curve": _curve(pooled.curves.get(name, PooledCurve()))} for name, found in pooled.drivers.items()
        },
        "comparisons": len(contrasts_shown(pooled.contrasts)),
        "contrasts": [_contrast(found, crop) for found in pooled.contrasts],
        "fields": properties(season),
        "notes": cautions(season),
        "settings_changed": {key: value for key, value, _ in changed(season.settings)},
    }


def properties(season: Season) -> list[dict[str, Any]]:
    """One row a field in the season's order: the columns of SEASON, each ``_kg_ha`` of a crop sold by the bushel also in ``_bu_ac``."""
    names = [column.name for column in SEASON.columns]
    return [with_bushels(row, _crop_of(str(row["crop"]))) for row in season.fields[names].to_dict("records")]


def _crop_of(name: str) -> Crop:
    """A row's crop; one sold by weight where nobody knows it."""
    return reference.crop(name) if name else next(crop for crop in reference.crops().values() if crop.bushel_lb is None)


def _loss(loss: Estimate, crop: Crop) -> dict[str, Any]:
    out = interval(loss, "_kg_ha")
    return out | interval(loss.times(bushels_ac(crop)), "_bu_ac") if crop.bushel_lb is not None else out


def _named(name: str, loss: Estimate, crop: Crop) -> dict[str, Any]:
    """A loss as columns of its name, each with its twin in bushels where all fields are of one crop sold by them."""
    return with_bushels(
        {f"{name}_{end}kg_ha": known(value) for end, value in (("", loss.mean), ("low_", loss.low), ("high_", loss.high))}, crop
    )


def _crop(of: CropLoss) -> dict[str, Any]:
    crop = of.words.crop
    out: dict[str, Any] = {
        "fields": of.fields,
        "area_ha": known(of.area_ha),
        "loss": {source: _loss(of.loss[source], crop) for source in ("total", *SOURCES) if of.loss.get(source)},
        "pct_of_total_yield": interval(of.share_pct),
        "grain_kg": interval(of.total.times(of.area_ha)),
    }
    return out | ({"money_usd": interval(of.total.times(of.area_ha * of.price.usd_kg))} if of.price is not None else {})


def _driver(found: PooledDriver, crop: Crop) -> dict[str, Any]:
    return {
        "verdict": found.verdict,
        "fields": found.fields,
        "effect": known(found.effect.mean),
        "effect_low": known(found.effect.low),
        "effect_high": known(found.effect.high),
        "effect_unit": f"times the loss per {found.effect_step}",
        "p": known(1 - found.chance),
        "slope": interval(found.slope),
        "slope_unit": UNITS[found.name][1],
        "between_sd": interval(found.between_sd),
        "leaning": found.leaning,
        **_named("share", found.share_kg_ha, crop),
        "hidden_correlation": interval(found.hidden_correlation),
        "between_fields": interval(found.between_fields),
        "by_field": {name: _shrunken(slope) for name, slope in found.shrunken.items()},
        "note": found.note,
    }


def _shrunken(slope: ShrunkenSlope) -> dict[str, Any]:
    return {"own": interval(slope.own), "with_season": interval(slope.slope), "p": known(1 - slope.chance), "tracks": slope.tracks}


def _curve(curve: PooledCurve) -> list[list[float | None]]:
    """``[beyond, mean, low, high]`` at each value, of the mean over fields; a field's own follows from its slope."""
    return [[known(at), *map(known, (one.mean, one.low, one.high))] for at, one in zip(curve.beyond, curve.factor, strict=True)]


def _contrast(found: LevelContrast, crop: Crop) -> dict[str, Any]:
    return {
        "factor": found.factor,
        "level": found.level,
        "source": found.source,
        "fields": found.fields,
        "others": found.others,
        "ratio": interval(found.ratio),
        **_named("worth", found.worth_kg_ha, crop),
        "chance_more_pct": known(100 * found.chance),
        "told": found.told,
    }
