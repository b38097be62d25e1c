"""What a field's owner wrote down: ``field.toml``, and where its files lie."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, TypeVar

import pydantic

from lossmap.base.errors import SettingsError, TooLittleData, shown
from lossmap.base.reference import Crop
from lossmap.base.settings import Day, Metres, Strict, Typed
from lossmap.base.tables import POSITIONS

__all__ = ["COUNT_ROLES", "MEASURED", "ROLES", "ColumnChoice", "CountsFile", "Field", "FieldFacts", "PointsFile", "file_inside"]

Chosen = TypeVar("Chosen")

#: What a column of a points file can be, with the SI unit it is turned into ("" = no unit).
ROLES: dict[str, str] = {
    "longitude": "deg",
    "latitude": "deg",
    "easting": "m",
    "northing": "m",
    "time": "",
    "record": "",
    "mass_flow": "kg/s",
    "yield": "kg/ha",
    "moisture": "percent",
    "speed": "m/s",
    "distance": "m",
    "interval": "s",
    "width": "m",
    "heading": "deg",
    "work": "",
    "machine": "",
    "pass": "",
    "elevation": "m",
}

#: What a column of a list of counts can be; a position's own column holds the seeds counted there.
COUNT_ROLES: tuple[str, ...] = (
    *("stop", "longitude", "latitude", "easting", "northing", "time", "position", "seeds", "grams", "ears", "grams_per_ear"),
    *("frame", "frames", "note", *POSITIONS),
)

#: Column of POINTS that holds a measured role.
MEASURED: dict[str, str] = {
    "mass_flow": "mass_flow_kg_s",
    "yield": "yield_kg_ha",
    "moisture": "moisture_pct",
    "speed": "speed_m_s",
    "distance": "distance_m",
    "interval": "interval_s",
    "width": "width_m",
    "heading": "heading_deg",
    "elevation": "elevation_m",
}


class ColumnChoice(Strict):
    """Which column plays a role, and in which unit it stands."""

    column: str
    unit: str | None = None


def _choice(value: Any) -> Any:
    return {"column": value} if isinstance(value, str) else value


def _only_roles(columns: dict[str, Chosen], roles: Collection[str]) -> dict[str, Chosen]:
    wrong = sorted(set(columns) - set(roles))
    if wrong:
        raise ValueError(f"{shown(wrong[0])} is no role; the roles are {', '.join(roles)}")
    return columns


class PointsFile(Strict):
    """One log of one machine."""

    path: str
    machine: str | None = None
    crs: str | None = None
    layer: str | None = None
    missing: tuple[str, ...] = ()
    interval: Annotated[float, Typed("s")] | None = pydantic.Field(None, gt=0, le=60)
    columns: dict[str, Annotated[ColumnChoice, pydantic.BeforeValidator(_choice)]] = pydantic.Field(default_factory=dict)

    @pydantic.field_validator("columns")
    @classmethod
    def _known_roles(cls, columns: dict[str, ColumnChoice]) -> dict[str, ColumnChoice]:
        return _only_roles(columns, ROLES)


class CountsFile(Strict):
    """One list of counts; `frame` (area of one frame) and `frames` (how many were summed) stand in for columns it lacks."""

    path: str
    crs: str | None = None
    layer: str | None = None
    missing: tuple[str, ...] = ()
    frame: Annotated[float, Typed("m2")] | None = pydantic.Field(None, gt=0, le=1000)
    frames: int = pydantic.Field(1, ge=1, le=1000)
    columns: dict[str, str] = pydantic.Field(default_factory=dict)

    @pydantic.field_validator("columns")
    @classmethod
    def _known_roles(cls, columns: dict[str, str]) -> dict[str, str]:
        return _only_roles(columns, COUNT_ROLES)


class FieldFacts(Strict):
    """What stands in ``field.toml`` (contract, part 2)."""

    name: str = pydantic.Field(examples=['name = "Creek piece"'])
    crop: str = pydantic.Field(examples=['crop = "corn"'])
    harvested_on: Day | None = None
    boundary: str | None = None
    header_width: Metres = pydantic.Field(ge=0.5, le=30, examples=['header_width = "30 ft"'])
    discharge_width: Metres | None = pydantic.Field(None, ge=0.3, le=40)
    header: str | None = None
    machine: str | None = None
    operator: str | None = None
    variety: str | None = None
    row_spacing: str | None = None
    population: str | None = None
    thousand_seed_mass: Annotated[float, Typed("g")] | None = pydantic.Field(None, ge=0.2, le=3000)
    reel_diameter: Metres | None = pydantic.Field(None, ge=0.3, le=3)
    reel_rpm: float | None = pydantic.Field(None, ge=1, le=200)
    points: tuple[PointsFile, ...] = ()
    counts: tuple[CountsFile, ...] = ()

    @pydantic.field_validator("name")
    @classmethod
    def _can_be_read(cls, name: str) -> str:
        """Every page is headed by it, and a season's table links by it."""
        if not name.strip():
            raise ValueError('is blank; write for example name = "Creek piece"')
        return name


@dataclass(frozen=True)
class Field:
    """One piece of land with one crop this season: its folder, its facts, its crop's row."""

    folder: Path
    facts: FieldFacts
    crop: Crop

    @property
    def id(self) -> str:
        """The folder's name, which names the results."""
        return self.folder.name

    @property
    def discharge_width_m(self) -> float:
        """Width over which residue is spread [m]; the header's where nothing else was said."""
        return self.facts.discharge_width or self.facts.header_width

    def check_ground(self) -> None:
        """Refuse facts from which nobody can tell where the field lies.

        Raises
        ------
        TooLittleData
        """
        if not self.facts.points and self.facts.boundary is None:
            raise TooLittleData(
                f"{self.id}/field.toml: names neither a log nor a boundary, so there is no ground to place stops on; "
                'add boundary = "boundary.geojson", or a [[points]] with path = "points.csv"'
            )

    def file(self, relative: str) -> Path:
        """A file the facts name, refused where it would lie outside the field's folder.

        Raises
        ------
        SettingsError
        """
        return file_inside(self.folder, relative, f"{self.id}/field.toml", "field")


def file_inside(folder: Path, relative: str, where: str, whose: str) -> Path:
    """A file that facts name, refused where it would lie outside their own folder.

    Raises
    ------
    SettingsError
    """
    try:
        path = (folder / relative).resolve()
    except (ValueError, RuntimeError) as fault:  # a null character; links that lead to one another
        raise SettingsError(f'{where}: "{shown(relative)}" is no name of a file; correct the path') from fault
    if not path.is_relative_to(folder.resolve()):
        raise SettingsError(f"{where}: {shown(relative)} lies outside the {whose}'s folder; copy the file into the folder")
    return path
