"""A farm's facts, its readings and its weather: ``farm.toml`` and the files it names."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import shapely

from lossmap.base.errors import NoReference, ReadError, SettingsError, shown
from lossmap.base.estimates import STEPS, Estimate
from lossmap.base.farm import Combine, Farm, FarmFacts, MeasuredLoss, Money, MoneyFacts, Reading, StandingFacts, StandingField
from lossmap.base.reference import Crop, crop, waiting
from lossmap.base.settings import build
from lossmap.base.units import grain_price, quantity
from lossmap.read.boundary import read_outline
from lossmap.read.facts import facts_file, is_file, read_toml, sha256
from lossmap.read.readings import Logged, read_readings
from lossmap.read.weather import read_weather

__all__ = ["farm_fingerprints", "read_farm", "read_farm_weather"]

FACTS = "farm.toml"


def read_farm(path: Path) -> Farm:
    """The farm of a folder, or of its ``farm.toml``.

    Raises
    ------
    SettingsError
        No such folder or file, or a fact in it is wrong; lists every fault.
    ReadError
        A file it names is not there or is not what it should be.
    """
    path = Path(path)
    folder, file, where = facts_file(path, FACTS)
    if not is_file(file):
        found = "no such folder" if not path.exists() else "is not a farm.toml" if path.is_file() else "holds no farm.toml"
        if (path / "field.toml").exists():
            raise SettingsError(f"{shown(path, 200)}: is a field (it holds field.toml), not a farm; run lossmap map on it")
        raise SettingsError(
            f"{shown(path, 200)}: {found}; give a folder whose farm.toml has name, weather, [[field]], [[combine]] and [money.CROP]"
        )
    facts = build(FarmFacts, read_toml(file, where), where)
    farm = Farm(folder, facts.name, (), _combines(facts), {}, facts.weather, facts.history)
    known = {one.name for one in facts.field}
    logged = read_readings(_file(farm, facts.readings, "readings"), f"{farm.id}/{facts.readings}", known) if facts.readings else {}
    faults: list[str] = []
    fields = [_field(farm, one, number, logged, where, faults) for number, one in enumerate(facts.field, 1)]
    money = _all_money(facts, where, faults)
    dryer = _tried(lambda: _dryer(facts.dryer) if facts.dryer else None, f"{where}: dryer", faults)
    if faults:
        raise SettingsError("\n".join(faults))
    return replace(farm, fields=tuple(field for field in fields if field), money=money, dryer_kg_point_day=dryer, readings=facts.readings)


def read_farm_weather(farm: Farm) -> pd.DataFrame:
    """This season's weather with the past years' below it; of a day in several files the first file's values hold.

    Returns
    -------
    WEATHER
    """
    named = [("weather", farm.weather), *(("history", name) for name in farm.history)]
    tables = [read_weather(_file(farm, name, key), f"{farm.id}/{name}") for key, name in named]
    together = pd.concat(tables, ignore_index=True)
    return together.drop_duplicates("day_on", keep="first").sort_values("day_on", ignore_index=True)


def farm_fingerprints(farm: Farm) -> dict[str, str]:
    """SHA-256 of the farm's facts, of every file of weather, and of its readings."""
    names = (FACTS, farm.weather, *farm.history, *([farm.readings] if farm.readings else []))
    return {name: sha256(farm.file(name), f"{farm.id}/{name}") for name in names}


def _combines(facts: FarmFacts) -> tuple[Combine, ...]:
    names = [one.name if len(facts.combine) == 1 or one.name != "combine" else f"combine {n}" for n, one in enumerate(facts.combine, 1)]
    return tuple(Combine(name, one.rate, one.hours_per_day) for name, one in zip(names, facts.combine, strict=True))


def _field(
    farm: Farm,
    facts: StandingFacts,
    number: int,
    logged: Mapping[str, Logged],
    where: str,
    faults: list[str],
) -> StandingField | None:
    place = f"{where}: field[{number}]"
    grown = _tried(lambda: crop(facts.crop), f"{place}.crop", faults)
    if grown is None:
        return None
    harvest = _tried(lambda: _yield(facts, grown), f"{place}.expected_yield", faults)
    outline = _outline(farm, facts.boundary, number) if facts.boundary else None
    at = facts.location
    if at is None and outline is not None:
        middle = shapely.point_on_surface(outline)
        at = (float(middle.x), float(middle.y))
    found = logged.get(facts.name, Logged())
    own = [Reading(facts.measured_on, facts.moisture)] if facts.moisture is not None and facts.measured_on is not None else []
    by_day = {reading.on: reading for reading in (*own, *found.readings)}
    measured = _measured(farm, facts.map, number) if facts.map else None
    return StandingField(
        name=facts.name,
        crop=grown,
        area_ha=facts.area,
        yield_kg_ha=harvest or math.nan,
        readings=tuple(by_day[on] for on in sorted(by_day)),
        standability=facts.standability,
        matured_on=facts.matured_on,
        cut_on=found.cut_on,
        place=at,
        outline=outline,
        measured=measured,
    )


def _outline(farm: Farm, name: str, number: int) -> shapely.Geometry:
    """In longitude and latitude."""
    shapes = read_outline(_file(farm, name, f"field[{number}].boundary"), f"{farm.id}/{name}").to_crs(4326)
    outline: shapely.Geometry = shapes.iloc[0]
    return outline


def _yield(facts: StandingFacts, grown: Crop) -> float:
    amount = quantity(facts.expected_yield, "kg/ha", grown.bushel_lb)
    if not 0 < amount <= grown.yield_most_kg_ha:
        raise SettingsError(
            f"{shown(facts.expected_yield)} is no yield of {grown.name} (at most {grown.yield_most_kg_ha:,.0f} kg/ha); correct it"
        )
    return amount


def _tried(made: Any, place: str, faults: list[str]) -> Any:
    """What `made` gives; a refusal is kept with its place."""
    try:
        return made()
    except (SettingsError, NoReference) as refusal:
        faults.append(f"{place}: {refusal}")
        return None


def _dryer(text: str) -> float:
    """Bushels are corn's."""
    amount = quantity(text, "kg/d", crop("corn").bushel_lb)
    if not 0 < amount < math.inf:
        raise SettingsError(f"{shown(text)} is nothing a dryer takes; correct it, or leave it out")
    return amount


def _all_money(facts: FarmFacts, where: str, faults: list[str]) -> dict[str, Money]:
    out = {}
    for name, of_crop in facts.money.items():
        grown = _tried(lambda name=name: crop(name), f"{where}: money", faults)
        made = grown and _tried(lambda of_crop=of_crop, grown=grown: _money(of_crop, grown), f"{where}: money.{name}", faults)
        if made:
            out[grown.name] = made
    return out


def _money(facts: MoneyFacts, grown: Crop) -> Money:
    """What is given, and the reference table's figures where nothing is."""
    figures = {name: figure.range.mean for name, figure in waiting(grown.name).items()}
    drying = facts.drying if facts.drying is not None else f"{figures['drying_cost']} USD/bu"
    steps = tuple(sorted((step.above, step.discount / 100) for step in facts.discounts))
    return Money(
        grain_price(facts.price, grown.bushel_lb),
        quantity(drying, "USD/kg", grown.bushel_lb),
        figures["shrink"] if facts.shrink is None else facts.shrink / 100,
        figures["handling"] if facts.handling is None else facts.handling / 100,
        steps,
    )


def _measured(farm: Farm, name: str, number: int) -> MeasuredLoss:
    """What a field's map says of the machine: its ``summary.json``."""
    place = f"{farm.id}/{name}"
    file = _file(farm, f"{name}/summary.json", f"field[{number}].map")
    try:
        summary = json.loads(file.read_text(encoding="utf-8"))
        yields, loss = summary["yield_kg_ha"], summary["loss"]
        parts = [loss[source] for source in ("header", "threshing")]
        share = [sum(float(part[f"{end}_kg_ha"]) for part in parts) for end in ("mean", "low", "high")]
        grown = float(yields) + float(loss["total"]["mean_kg_ha"])
        cut_at, driver = float(summary["moisture_pct"]), summary["drivers"]["dryness"]
        tracks = driver["verdict"] == "tracks"
        slope = math.log(float(driver["effect"])) / STEPS["dryness"][0] if tracks else 0.0
        below = float(driver["reference"]) if tracks else math.nan
    except (ValueError, KeyError, TypeError, UnicodeDecodeError) as fault:
        raise ReadError(
            f"{place}/summary.json: does not tell header loss, threshing loss and moisture ({shown(fault)}); "
            "map that field again with its log and counts, or leave map out"
        ) from fault
    return MeasuredLoss(Estimate(*(one / grown for one in share)), cut_at, max(slope, 0.0), below, place)


def _file(farm: Farm, name: str, key: str) -> Path:
    path = farm.file(name)
    if not path.is_file():
        raise ReadError(f"{farm.id}/{FACTS}: {key}: no such file ({shown(name)}); paths are relative to farm.toml")
    return path
