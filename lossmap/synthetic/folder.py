"""A made field written down as a farmer has it: field.toml and the files it names."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Literal

import geopandas as gpd
import pandas as pd

from lossmap.base.errors import SettingsError, near
from lossmap.base.field import MEASURED, ROLES
from lossmap.base.reference import crop as crop_row
from lossmap.base.units import factor
from lossmap.synthetic.field import MadeField
from lossmap.synthetic.formats import Format, save
from lossmap.synthetic.plan import FieldPlan

__all__ = ["US_COLUMNS", "Layout", "write"]

WGS84 = "EPSG:4326"
#: As a display rounds, by role; 3 for all others.
DECIMALS = MappingProxyType({"moisture": 1, "heading": 1, "elevation": 1, "yield": 2, "longitude": 7, "latitude": 7})

#: A log as a display in US units writes it: column and unit of each role.
US_COLUMNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "time": ("Time (UTC)", ""),
        "longitude": ("Longitude", "deg"),
        "latitude": ("Latitude", "deg"),
        "mass_flow": ("Mass flow (lb/s)", "lb/s"),
        "moisture": ("Moisture [%]", "percent"),
        "speed": ("Speed (mph)", "mph"),
        "distance": ("Distance (ft)", "ft"),
        "interval": ("Interval (s)", "s"),
        "width": ("Swath width (ft)", "ft"),
        "heading": ("Heading (deg)", "deg"),
        "elevation": ("Elevation (ft)", "ft"),
    }
)


@dataclass(frozen=True)
class Layout:
    """How a made field is written down.

    Attributes
    ----------
    points, counts : format
        Of each of the two files.
    columns : mapping of role to (name, unit)
        Columns of the points file in their order; `lossmap.base.field.ROLES` has the roles.
    explained : tuple of str
        Roles whose column and unit stand in field.toml, since their names tell too little.
    epsg : int or None
        CRS of geometry and of easting and northing; None: longitude and latitude.
    frame_unit : "ft2" or "m2"
    words : mapping of str to str
        What the counter wrote for a position, or for ``seeds``.
    boundary : bool
        Whether the outline is written.
    facts : mapping of str to str
        More lines of field.toml.
    """

    points: Format = "csv"
    counts: Format = "csv"
    columns: Mapping[str, tuple[str, str]] = field(default_factory=lambda: US_COLUMNS)
    explained: tuple[str, ...] = ()
    epsg: int | None = None
    frame_unit: Literal["ft2", "m2"] = "ft2"
    words: Mapping[str, str] = field(default_factory=dict)
    boundary: bool = True
    facts: Mapping[str, str] = field(default_factory=dict)


def write(made: MadeField, folder: Path, layout: Layout | None = None) -> None:
    """Write a made field as a folder that the flows read: field.toml and the files it names.

    The same field and layout give the same bytes with the same versions of the libraries:
    whatever a format wants to say about now is set to one date.

    Parameters
    ----------
    made : MadeField
    folder : path
        Made if it is missing; its last part names the field's results.
    layout : Layout
        Without it: CSV in US units.

    Raises
    ------
    SettingsError
        A role that is none.
    """
    layout = layout or Layout()
    wrong = sorted(set(layout.columns) - set(ROLES))
    if wrong:
        raise SettingsError(f'Layout: role "{wrong[0]}" is not known; {near(wrong[0], ROLES)}')
    folder.mkdir(parents=True, exist_ok=True)
    crs = f"EPSG:{layout.epsg}" if layout.epsg else WGS84
    save(_points_table(made, layout, crs), folder / f"points.{layout.points}")
    save(_counts_table(made, layout), folder / f"counts.{layout.counts}")
    if layout.boundary:
        outline = gpd.GeoDataFrame({"name": ["made boundary"]}, geometry=[made.boundary], crs=made.crs)
        save(outline.to_crs(WGS84), folder / "boundary.geojson")
    (folder / "field.toml").write_text(_field_toml(made, folder.name, layout, crs), encoding="utf-8", newline="\n")


def _points_table(made: MadeField, layout: Layout, crs: str) -> gpd.GeoDataFrame:
    """The log in the columns and units of `layout`; `save` leaves its geometry out of a CSV."""
    points = made.points.to_crs(crs)
    bushel_lb = crop_row(made.plan.crop).bushel_lb
    table = {}
    for role, (name, unit) in layout.columns.items():
        values = _by_role(made, points, role)
        if ROLES[role]:
            values = (values * factor(ROLES[role], unit, bushel_lb)).round(DECIMALS.get(role, 3))
        table[name] = values
    return gpd.GeoDataFrame(table, geometry=points.geometry, crs=points.crs)


def _by_role(made: MadeField, placed: gpd.GeoDataFrame, role: str) -> pd.Series:
    """One column in SI; `placed` are the points in the CRS of the file."""
    if role in ("longitude", "latitude"):
        on_earth = made.points.geometry.to_crs(WGS84)
        values: pd.Series = on_earth.x if role == "longitude" else on_earth.y
    elif role in ("easting", "northing"):
        values = placed.geometry.x if role == "easting" else placed.geometry.y
    elif role == "time":
        values = placed["time"].dt.strftime("%Y-%m-%dT%H:%M:%S.%f").str.slice(stop=-3) + "Z"
    elif role == "pass":
        values = made.truth.records["pass_id"]
    elif role == "yield":
        values = _logged_yield(made.plan, placed)
    else:
        values = placed[MEASURED.get(role, role)]
    return values


def _logged_yield(plan: FieldPlan, points: gpd.GeoDataFrame) -> pd.Series:
    """What a display would show: flow over area as logged, at market moisture [kg/ha]."""
    at_market = (100 - points["moisture_pct"]) / (100 - crop_row(plan.crop).market_moisture_pct)
    area_ha = points["width_m"] * points["distance_m"] / 10_000
    shown: pd.Series = points["mass_flow_kg_s"] * points["interval_s"] * at_market / area_ha
    return shown


def _counts_table(made: MadeField, layout: Layout) -> gpd.GeoDataFrame:
    """The count sheet: columns nobody filled are left out; the area is that of one frame."""
    counts = made.counts.to_crs(WGS84)
    one_frame = counts["frame_m2"] / counts["frames"] * factor("m2", layout.frame_unit)
    table = {
        "stop": counts["stop_id"],
        "longitude": counts.geometry.x.round(7),
        "latitude": counts.geometry.y.round(7),
        "position": counts["position"].replace(dict(layout.words)),
        layout.words.get("seeds", "seeds"): counts["seeds"].astype("Int64"),
        "grams": counts["grams"],
        "ears": counts["ears"].astype("Int64"),
        "grams_per_ear": counts["grams_per_ear"],
        f"frame_{layout.frame_unit}": one_frame.round(4),
        "frames": counts["frames"].astype("Int64"),
    }
    filled = {name: values for name, values in table.items() if values.notna().any()}
    return gpd.GeoDataFrame(filled, geometry=counts.geometry, crs=counts.crs)


def _field_toml(made: MadeField, name: str, layout: Layout, crs: str) -> str:
    """The facts of a made field; quoted as JSON strings, which TOML reads alike."""
    plan = made.plan
    facts = {"name": name, "crop": plan.crop} | dict(layout.facts)
    lines = ["# A made field: no such place, farm or machine. How it was made: lossmap.synthetic."]
    lines += [f"{key} = {json.dumps(value)}" for key, value in facts.items()]
    lines.append(f"harvested_on = {plan.started.date().isoformat()}")
    lines += ['boundary = "boundary.geojson"'] if layout.boundary else []
    lines.append(f'header_width = "{plan.header_width_m * factor("m", "ft"):g} ft"')
    if plan.discharge_width_m:
        lines.append(f'discharge_width = "{plan.discharge_width_m * factor("m", "ft"):g} ft"')
    if plan.stated_seed_mass_g:
        lines.append(f'thousand_seed_mass = "{plan.stated_seed_mass_g:g} g"')
    lines += ["", "[[points]]", f'path = "points.{layout.points}"']
    if layout.points == "csv" and layout.epsg:
        lines.append(f'crs = "{crs}"')
    if layout.explained:
        lines.append("[points.columns]")
        lines += [_explained(role, *layout.columns[role]) for role in layout.explained]
    return "\n".join([*lines, "", "[[counts]]", f'path = "counts.{layout.counts}"', ""])


def _explained(role: str, name: str, unit: str) -> str:
    return f"{role} = {{ column = {json.dumps(name)}, unit = {json.dumps(unit)} }}" if unit else f"{role} = {json.dumps(name)}"
