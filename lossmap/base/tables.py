"""What the tables that pass between stages must look like.

A contract is data, one `Column` a line, and one verb: ``POINTS.check(frame)`` gives the
frame back untouched or raises one `TableError` with all its faults. (A schema library
was tried: its report of one wrong column of 200,000 rows was a million characters.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from lossmap.base.errors import TableError

__all__ = [
    "CELLS",
    "COUNTS",
    "DRIVE",
    "DRIVER_WORDS",
    "FACTORS",
    "FLAGS",
    "LAYER_WORDS",
    "LOSSES",
    "PLAN",
    "POINTS",
    "POSITIONS",
    "SEASON",
    "SOURCES",
    "WEATHER",
    "ZONES",
    "Column",
    "Contract",
    "Frame",
]

Kind = Literal["number", "text", "time", "whole", "day"]

Frame = TypeVar("Frame", bound=pd.DataFrame)

#: Where a frame is laid, in the order in which the combine passes over.
POSITIONS = ("before_header", "behind_header", "behind_combine")

#: Where seed is lost, in the same order; `total` is their sum.
SOURCES = ("preharvest", "header", "threshing")

#: What loss may track, and the column of LOSSES and CELLS that holds it.
DRIVE = {"speed": "speed_m_s", "dryness": "moisture_pct"}
#: How each is spoken of where loss tracks it, and where it is measured.
DRIVER_WORDS = {"speed": "ground speed", "dryness": "dryness"}
LAYER_WORDS = {"speed": "ground speed", "dryness": "moisture"}

#: Facts of field.toml by which fields of a season are compared, and how each is spoken of.
FACTORS: dict[str, str] = {
    "header": "header",
    "machine": "machine",
    "operator": "operator",
    "variety": "variety",
    "row_spacing": "row spacing",
    "population": "population",
}


@dataclass(frozen=True)
class Column:
    """One column: what it means, its unit, and what its values may be.

    `least` and `most` are limits beyond which a value cannot be what the column says
    (a broken reader or a wrong unit), not limits of good farming: those are for `clean`.
    """

    name: str
    means: str
    kind: Kind = "number"
    unit: str = ""
    least: float = -np.inf
    most: float = np.inf
    optional: bool = False
    gaps: bool = True

    def faults(self, frame: pd.DataFrame) -> list[str]:
        """What is wrong with this column of `frame`, in words."""
        if self.name not in frame.columns:
            return [] if self.optional else [f"{self.name} is missing ({self.means})"]
        values = frame[self.name]
        if not _IS_KIND[self.kind](values):
            return [f"{self.name} is {values.dtype}, not a {self.kind} column"]
        found = []
        if not self.gaps and values.isna().any():
            found.append(f"{self.name} has {int(values.isna().sum())} gaps, the first in row {_first(values.isna())}")
        if self.kind in ("number", "whole"):
            outside = (values < self.least) | (values > self.most) | np.isinf(values.to_numpy(float))
            if outside.any():
                row = _first(outside)
                found.append(
                    f"{self.name} must lie between {self.least:g} and {self.most:g} {self.unit}".rstrip()
                    + f"; {int(outside.sum())} do not, the first in row {row} ({values.iloc[row]:g})"
                )
        return found


_IS_KIND: dict[Kind, Callable[[pd.Series], bool]] = {
    "number": pd.api.types.is_float_dtype,
    "whole": pd.api.types.is_integer_dtype,
    "text": pd.api.types.is_string_dtype,
    "time": lambda values: isinstance(values.dtype, pd.DatetimeTZDtype),
    "day": lambda values: values.dtype.kind == "M" and not isinstance(values.dtype, pd.DatetimeTZDtype),
}


def _first(mask: pd.Series) -> int:
    return int(np.flatnonzero(mask.to_numpy())[0])


@dataclass(frozen=True)
class Contract:
    """The columns of one table and the kind of its geometry ("Point", "Polygon" or "")."""

    name: str
    row: str
    geometry: str
    columns: tuple[Column, ...]

    def check(self, frame: Frame) -> Frame:
        """Give `frame` back untouched, or raise one error with all its faults.

        Raises
        ------
        TableError
        """
        faults = [fault for column in self.columns for fault in column.faults(frame)]
        if self.geometry:
            faults += self._geometry_faults(frame)
        if faults:
            raise TableError(f"{self.name} ({self.row}): " + "; ".join(faults))
        return frame

    def _geometry_faults(self, frame: pd.DataFrame) -> list[str]:
        if not isinstance(frame, gpd.GeoDataFrame) or frame.active_geometry_name is None:
            return ["has no geometry"]
        if frame.crs is None:
            return ["has no crs"]
        # type ids, not geom_type: 0.008 s instead of 0.24 s on 200,000 rows
        kinds = shapely.get_type_id(frame.geometry.to_numpy())
        wanted = (0,) if self.geometry == "Point" else (3, 6)
        wrong = ~np.isin(kinds, wanted)
        return [f"{int(wrong.sum())} rows are not a {self.geometry}"] if wrong.any() else []


def _loss(source: str, least: float = -1e6) -> tuple[Column, ...]:
    words = "seed lost, all sources" if source == "total" else f"{source} loss"
    return tuple(
        Column(f"{source}_{end}kg_ha", f"{words}{tail}", unit="kg/ha", least=least)
        for end, tail in (("", ""), ("low_", ", 5 % of the interval"), ("high_", ", 95 % of the interval"))
    )


POINTS = Contract(
    "POINTS",
    "one record of a machine's log",
    "Point",
    (
        Column("time", "when it was logged, UTC", "time", optional=True),
        Column("record", "running number, where rows do not stand in the order of harvest", optional=True),
        Column("mass_flow_kg_s", "grain through the elevator, wet", unit="kg/s", optional=True),
        Column("yield_kg_ha", "grain at market moisture", unit="kg/ha", optional=True),
        Column("moisture_pct", "grain water, wet basis", unit="%", optional=True),
        Column("speed_m_s", "ground speed", unit="m/s", optional=True),
        Column("distance_m", "driven since the last record", unit="m", optional=True),
        Column("interval_s", "time since the last record", unit="s", optional=True),
        Column("width_m", "header width at work", unit="m", optional=True),
        Column("heading_deg", "course over ground", unit="deg", optional=True),
        Column("elevation_m", "height", unit="m", optional=True),
        Column("machine", "which combine", "text"),
        Column("log", "which file of the field", "whole", least=0),
        Column("pass_id", "which pass; -1 where passes cannot be told", "whole", least=-1, optional=True),
        Column("work", "1 working, 0 header up", least=0, most=1, optional=True),
        Column("flag", 'why it is not believed; "" where it is', "text", gaps=False, optional=True),
        Column("fresh_width_m", "width that no earlier record had cut", unit="m", least=0, optional=True),
    ),
)

#: Reasons of `clean`, in the order in which they are looked for; the first that holds stands.
FLAGS = (
    "bad position",
    "duplicate",
    "section row",
    "position jump",
    "not working",
    "short pass",
    "pass start",
    "pass end",
    "speed change",
    "swath already cut",
    "outside field",
    "beyond crop limits",
    "unlike the field",
    "unlike its neighbours",
    "no yield",
)

COUNTS = Contract(
    "COUNTS",
    "one laying-down of the frame or frames",
    "Point",
    (
        Column("stop_id", "which stop", "text", gaps=False),
        Column("position", "before_header, behind_header or behind_combine", "text", gaps=False),
        Column("seeds", "seeds counted", least=0, most=1e6),
        Column("grams", "seed weighed instead of counted", unit="g", least=0, most=1e6),
        Column("ears", "whole ears found", least=0, most=1e5),
        Column("grams_per_ear", "grain of one ear", unit="g", least=0, most=2000),
        Column("frame_m2", "area of all frames of the row together", unit="m2", least=1e-4, most=1e5, gaps=False),
        Column("frames", "how many frames were laid and summed", least=1, most=1e4, gaps=False),
        Column("time", "when", "time", optional=True),
        Column("note", "what the counter wrote", "text"),
    ),
)

LOSSES = Contract(
    "LOSSES",
    "one stop",
    "Point",
    (
        Column("stop_id", "which stop", "text", gaps=False),
        *_loss("preharvest"),
        *_loss("header"),
        *_loss("threshing"),
        *_loss("total"),
        Column("seeds_before_header", "seeds counted there", least=0),
        Column("seeds_behind_header", "seeds counted there", least=0),
        Column("seeds_behind_combine", "seeds counted there", least=0),
        Column("frame_m2_before_header", "area looked at there", unit="m2", least=0),
        Column("frame_m2_behind_header", "area looked at there", unit="m2", least=0),
        Column("frame_m2_behind_combine", "area looked at there", unit="m2", least=0),
        Column("concentration", "how much denser residue lies behind the combine than it was cut: cut width over discharge width", least=0),
        Column("weighed", "share of the seeds that were weighed, whose loss does not hang on a seed's mass", least=0, most=1),
        *(Column(f"ears_{position}", "ears counted there", least=0, optional=True) for position in POSITIONS),
        *(Column(f"ear_m2_{position}", "area looked at for ears there", unit="m2", least=0, optional=True) for position in POSITIONS),
        Column("ear_g", "grain on one ear", unit="g", least=0, optional=True),
        Column("ear_doubt", "log standard deviation of that", least=0, optional=True),
        Column("speed_m_s", "ground speed where it was cut", unit="m/s", optional=True),
        Column("moisture_pct", "grain moisture where it was cut", unit="%", optional=True),
        Column("mass_flow_kg_s", "grain flow where it was cut", unit="kg/s", optional=True),
        Column("note", "what the counter wrote, and what could not be separated", "text"),
    ),
)

CELLS = Contract(
    "CELLS",
    "one grid cell inside the boundary",
    "Point",
    (
        Column("row", "row of the grid, 0 in the north", "whole", least=0),
        Column("col", "column of the grid, 0 in the west", "whole", least=0),
        Column("loss_kg_ha", "loss", unit="kg/ha", least=0),
        Column("loss_low_kg_ha", "5 % of the interval", unit="kg/ha", least=0),
        Column("loss_high_kg_ha", "95 % of the interval", unit="kg/ha", least=0),
        Column("speed_m_s", "ground speed", unit="m/s", optional=True),
        Column("moisture_pct", "grain moisture", unit="%", optional=True),
        Column("yield_kg_ha", "grain at market moisture", unit="kg/ha", optional=True),
    ),
)

ZONES = Contract(
    "ZONES",
    "one flagged zone",
    "Polygon",
    (
        Column("zone_id", "letter of the zone", "text", gaps=False),
        Column("reason", "speed or dryness", "text", gaps=False),
        Column("area_ha", "area", unit="ha", least=0),
        *(
            Column(f"{what}_{end}kg_ha", words, unit="kg/ha")
            for what, words in (("loss", "loss in the zone"), ("excess", "above the reference speed or moisture"))
            for end in ("", "low_", "high_")
        ),
        Column("chance_pct", "chance that the zone's excess is above nothing", unit="%", least=0, most=100),
        Column("why", "the zone in one plain sentence", "text", gaps=False),
    ),
)

PLAN = Contract(
    "PLAN",
    "one stop to count next",
    "Point",
    (
        Column("stop", "its name, none of a stop counted already", "text", gaps=False),
        Column("rank", "order of usefulness, 1 the most useful", "whole", least=1, gaps=False),
        Column("reason", "what it tells most about: place, speed or dryness", "text", gaps=False),
        Column("part", "where in the field: north-west, middle, ...", "text", gaps=False),
        Column("nearest_m", "distance to the nearest stop counted, or of higher rank", unit="m", least=0),
        Column("frames", "frames to lay at each position", "whole", least=1, gaps=False),
        Column("speed_m_s", "ground speed where it was cut", unit="m/s", optional=True),
        Column("speed_rank_pct", "share of the ground cut slower", unit="%", least=0, most=100, optional=True),
        Column("moisture_pct", "grain moisture where it was cut", unit="%", optional=True),
        Column("moisture_rank_pct", "share of the ground cut drier", unit="%", least=0, most=100, optional=True),
    ),
)

WEATHER = Contract(
    "WEATHER",
    "one day at one place",
    "",
    (
        Column("day_on", "which day, local", "day", gaps=False),
        Column("tmin_c", "lowest temperature", unit="C", least=-60, most=60),
        Column("tmax_c", "highest temperature", unit="C", least=-60, most=60),
        Column("rain_mm", "rain, melted snow included", unit="mm", least=0, most=2000),
        Column("rh_pct", "mean relative humidity", unit="%", least=0, most=100),
        Column("dewpoint_c", "mean dew point", unit="C", least=-80, most=40),
    ),
)

SEASON = Contract(
    "SEASON",
    "one field of a season",
    "Polygon",
    (
        Column("field_id", "its folder, below the season's", "text", gaps=False),
        Column("name", "its name in field.toml; the folder's where that cannot be read", "text", gaps=False),
        Column("crop", 'crop; "" where it is not known', "text", gaps=False),
        Column("error", 'why there is no map; "" where there is one', "text", gaps=False),
        Column("remade", "1 mapped in this run, 0 taken over unchanged or failed", "whole", least=0, most=1),
        Column("seconds", "seconds that it took in this run", least=0),
        Column("area_ha", "area", unit="ha", least=0),
        Column("points", "records read", least=0),
        Column("points_kept", "records believed", least=0),
        Column("stops", "stops counted", least=0),
        Column("zones", "flagged zones", least=0),
        *(column for source in ("total", *SOURCES) for column in _loss(source)),
        Column("total_pct", "loss in the total yield", unit="%"),
        Column("yield_kg_ha", "grain at market moisture", unit="kg/ha", least=0),
        Column("speed_m_s", "mean ground speed", unit="m/s", least=0),
        Column("moisture_pct", "mean moisture", unit="%", least=0, most=100),
        Column("loss_usd", "what the loss would have sold for", unit="USD"),
        *(Column(f"{driver}_verdict", f"verdict on {words}", "text", gaps=False) for driver, words in DRIVER_WORDS.items()),
        *(Column(f"{driver}_rests_on", 'what the verdict rests on: "own counts", "season" or ""', "text", gaps=False) for driver in DRIVE),
        *(Column(factor, "as field.toml says", "text", gaps=False) for factor in FACTORS),
    ),
)
